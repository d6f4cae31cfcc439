/// Output and exit codes of commands.
#pragma once

#include <absl/status/status.h>
#include <google/protobuf/message.h>

#include <string>
#include <vector>

#include "lib/client.h"
#include "lib/study_file.h"

namespace gyrebox::client {

/// Exit code of a command.
enum ExitCode { kDone = 0, kBadInput = 2, kRefused = 3, kNotReachable = 4 };

/// Options common to all commands.
struct Session {
  Endpoint server;
  bool json = false;
};

/// A message as JSON of the API, on several lines or on one.
std::string JsonText(const google::protobuf::Message& message, bool one_line);

/// Prints a message as JSON.
void PrintJson(const google::protobuf::Message& message, bool one_line = false);

/// Reports a failed call on the error stream. Returns the exit code.
ExitCode Report(const Session& session, const absl::Status& status);

/// The same for a request that may be invalid: reports every invalid field, one per line.
ExitCode ReportRequest(const Session& session, const absl::Status& status);

/// Reports the faults of a study file on the error stream, one per line. Returns kBadInput.
ExitCode Report(const std::string& path, const std::vector<FileFault>& faults);

}  // namespace gyrebox::client
