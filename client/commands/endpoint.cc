#include "commands/endpoint.h"

#include <absl/strings/ascii.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <optional>
#include <sstream>

#include "discovery/address_file.h"

namespace gyrebox::client {

constexpr char kDefaultAddress[] = "127.0.0.1:7421";

static bool ReadText(const std::string& path, std::string* text) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream whole;
  whole << in.rdbuf();
  *text = std::move(whole).str();
  return !text->empty();
}

/// gRPC accepts no other characters in a header.
static bool IsPrintable(const std::string& text) {
  return std::all_of(text.begin(), text.end(), [](unsigned char c) { return absl::ascii_isgraph(c); });
}

/// The server on the default address, else the only one running.
static std::optional<access::LocalServer> FindRunning(const std::string& directory) {
  const auto running = access::RunningLocalServers(directory);
  for (const access::LocalServer& server : running) {
    if (server.address == kDefaultAddress) return server;
  }
  return running.size() == 1 ? std::optional(running.front()) : std::nullopt;
}

/// Fills in how to reach a server of this user on this machine, if there is one.
static void FindLocal(Endpoint* endpoint) {
  const std::string directory = access::AddressDirectory();
  const auto found =
      endpoint->address.empty() ? FindRunning(directory) : access::FindLocalServer(directory, endpoint->address);
  if (endpoint->address.empty()) endpoint->address = kDefaultAddress;
  if (!found) return;
  endpoint->address = found->address;
  // Prefer the socket: nobody else can listen there in the name of a server that is gone.
  if (std::error_code error; std::filesystem::is_socket(found->socket, error)) {
    endpoint->address = "unix:" + found->socket;
  } else {
    endpoint->token = found->token;
  }
}

std::string FillEndpoint(const std::string& authority_file, const std::string& token_file, Endpoint* endpoint) {
  if (authority_file.empty()) {
    FindLocal(endpoint);
    return "";
  }
  if (endpoint->address.empty()) endpoint->address = kDefaultAddress;
  if (!ReadText(authority_file, &endpoint->authority))
    return "--tls-ca: cannot read a certificate in " + authority_file;
  const char* const given = std::getenv("GYREBOX_TOKEN");
  std::string text = given == nullptr ? "" : given;
  if (!token_file.empty() && !ReadText(token_file, &text)) return "--token-file: cannot read a token in " + token_file;
  endpoint->token = std::string(absl::StripAsciiWhitespace(text));
  const std::string source = token_file.empty() ? "GYREBOX_TOKEN" : token_file;
  return IsPrintable(endpoint->token) ? "" : source + " holds more than a token; give one token alone";
}

}  // namespace gyrebox::client
