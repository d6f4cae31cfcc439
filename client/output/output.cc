#include "output/output.h"

#include <google/protobuf/util/json_util.h>

#include <cstdio>
#include <iostream>

#include "schema/visible_text.h"

namespace gyrebox::client {

/// Escapes invisible characters by number. In JSON they occur only within strings, except line ends, and remain the
/// same characters (RFC 8259, section 7).
static std::string Escaped(const std::string& json) {
  std::string escaped;
  for (size_t at = 0; at < json.size();) {
    const schema::Character character = schema::CharacterAt(json, at);
    if (character.valid && schema::IsHidden(character.code) && character.code != '\n') {
      char number[8];
      std::snprintf(number, sizeof number, "\\u%04x", static_cast<unsigned>(character.code));
      escaped += number;
    } else {
      escaped.append(json, at, character.size);
    }
    at += character.size;
  }
  return escaped;
}

std::string JsonText(const google::protobuf::Message& message, bool one_line) {
  google::protobuf::util::JsonPrintOptions options;
  options.preserve_proto_field_names = true;
  options.always_print_primitive_fields = true;
  options.add_whitespace = !one_line;
  std::string text;
  (void)google::protobuf::util::MessageToJsonString(message, &text, options);
  return Escaped(text) + (one_line ? "\n" : "");
}

void PrintJson(const google::protobuf::Message& message, bool one_line) {
  std::cout << JsonText(message, one_line) << std::flush;
}

ExitCode Report(const Session& session, const absl::Status& status) {
  const std::string message = schema::Visible(std::string(status.message()));
  switch (status.code()) {
    case absl::StatusCode::kUnavailable:
    case absl::StatusCode::kDeadlineExceeded:
      if (const std::string fault = CertificateFault(status); !fault.empty()) {
        std::cerr << "gyrebox: " << schema::Visible(fault) << "\n";
        return kNotReachable;
      }
      std::cerr << "gyrebox: no answer from a server at " << session.server.address << " (" << message
                << "); start gyreboxd there, or name another server with --server"
                << (session.server.authority.empty() ? "; a server with TLS needs --tls-ca" : "") << "\n";
      return kNotReachable;
    case absl::StatusCode::kUnauthenticated:
      std::cerr << "gyrebox: " << message
                << (session.server.authority.empty() ? "" : ", given with --token-file or in GYREBOX_TOKEN") << "\n";
      return kRefused;
    case absl::StatusCode::kInvalidArgument:
      std::cerr << "gyrebox: " << message << "\n";
      return kBadInput;
    default:
      std::cerr << "gyrebox: " << message << "\n";
      return kRefused;
  }
}

ExitCode ReportRequest(const Session& session, const absl::Status& status) {
  const auto faults = ViolationsOf(status);
  if (faults.empty()) return Report(session, status);
  for (const auto& fault : faults) {
    std::cerr << "gyrebox: " << schema::Visible(fault.field() + ": " + fault.description()) << "\n";
  }
  return kBadInput;
}

ExitCode Report(const std::string& path, const std::vector<FileFault>& faults) {
  for (const FileFault& fault : faults) {
    std::cerr << schema::Visible(path) << ":" << fault.line << ": "
              << schema::Visible(fault.field + (fault.field.empty() ? "" : ": ") + fault.message) << "\n";
  }
  return kBadInput;
}

}  // namespace gyrebox::client
