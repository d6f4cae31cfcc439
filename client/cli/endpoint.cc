#include "cli/endpoint.h"

#include <absl/strings/ascii.h>

#include <algorithm>
#include <cstdlib>
#include <fstream>
#include <sstream>

namespace gyrebox::client {

static bool ReadText(const std::string& path, std::string* text) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream whole;
  whole << in.rdbuf();
  *text = std::move(whole).str();
  return !text->empty();
}

/// gRPC does not take a header of other characters.
static bool IsPrintable(const std::string& text) {
  return std::all_of(text.begin(), text.end(), [](unsigned char c) { return absl::ascii_isgraph(c); });
}

std::string FillEndpoint(const std::string& authority_file, const std::string& token_file, Endpoint* endpoint) {
  if (authority_file.empty()) return "";
  if (!ReadText(authority_file, &endpoint->authority))
    return "--tls-ca: cannot read a certificate in " + authority_file;
  const char* const given = std::getenv("GYREBOX_TOKEN");
  std::string text = given == nullptr ? "" : given;
  if (!token_file.empty() && !ReadText(token_file, &text)) return "--token-file: cannot read a token in " + token_file;
  endpoint->token = std::string(absl::StripAsciiWhitespace(text));
  const std::string place = token_file.empty() ? "GYREBOX_TOKEN" : token_file;
  return IsPrintable(endpoint->token) ? "" : place + " holds more than a token; one token, alone, would be right";
}

}  // namespace gyrebox::client
