#include "cli/output.h"

#include <google/protobuf/util/json_util.h>

#include <iostream>

namespace gyrebox::client {

std::string JsonText(const google::protobuf::Message& message, bool one_line) {
  google::protobuf::util::JsonPrintOptions options;
  options.preserve_proto_field_names = true;
  options.always_print_primitive_fields = true;
  options.add_whitespace = !one_line;
  std::string text;
  (void)google::protobuf::util::MessageToJsonString(message, &text, options);
  return text + (one_line ? "\n" : "");
}

void PrintJson(const google::protobuf::Message& message, bool one_line) {
  std::cout << JsonText(message, one_line) << std::flush;
}

ExitCode Report(const Session& session, const absl::Status& status) {
  const std::string message(status.message());
  switch (status.code()) {
    case absl::StatusCode::kUnavailable:
    case absl::StatusCode::kDeadlineExceeded:
      std::cerr << "gyrebox: no answer from a server at " << session.server.address << " (" << message
                << "); start gyreboxd there, or name another with --server"
                << (session.server.authority.empty() ? "; one with TLS needs --tls-ca" : "") << "\n";
      return kNotReachable;
    case absl::StatusCode::kUnauthenticated:
      std::cerr << "gyrebox: " << message
                << (session.server.authority.empty() ? "" : ", and give it by --token-file or in GYREBOX_TOKEN")
                << "\n";
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
  for (const auto& fault : faults) std::cerr << "gyrebox: " << fault.field() << ": " << fault.description() << "\n";
  return kBadInput;
}

ExitCode Report(const std::string& path, const std::vector<FileFault>& faults) {
  for (const FileFault& fault : faults) {
    std::cerr << path << ":" << fault.line << ": " << fault.field << (fault.field.empty() ? "" : ": ") << fault.message
              << "\n";
  }
  return kBadInput;
}

}  // namespace gyrebox::client
