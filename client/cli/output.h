/// Where commands write, and how they end.
#pragma once

#include <absl/status/status.h>
#include <google/protobuf/message.h>

#include <string>
#include <vector>

#include "lib/client.h"
#include "lib/study_file.h"

namespace gyrebox::client {

/// What a command ends with.
enum ExitCode { kDone = 0, kBadInput = 2, kRefused = 3, kNotReachable = 4 };

/// What every command gets.
struct Session {
  Endpoint server;
  bool json = false;
};

/// A message as the API's own JSON, on several lines or on one.
std::string JsonText(const google::protobuf::Message& message, bool one_line);

/// Prints it.
void PrintJson(const google::protobuf::Message& message, bool one_line = false);

/// Tells a failed call on the error stream. Returns what to end with.
ExitCode Report(const Session& session, const absl::Status& status);

/// The same where the request may be at fault: tells every field of it that is, one a line.
ExitCode ReportRequest(const Session& session, const absl::Status& status);

/// Tells the faults of a study file on the error stream, one a line. Returns kBadInput.
ExitCode Report(const std::string& path, const std::vector<FileFault>& faults);

}  // namespace gyrebox::client
