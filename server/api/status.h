/// Errors as values inside, gRPC statuses outside.
#pragma once

#include <absl/status/status.h>
#include <grpcpp/support/status.h>

#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"

namespace gyrebox::api {

/// INVALID_ARGUMENT that carries every field at fault.
absl::Status InvalidStudy(const std::vector<v1::FieldViolation>& violations);

/// The same for any other request: its message tells the first fault.
absl::Status InvalidRequest(const std::vector<v1::FieldViolation>& violations);

/// RESOURCE_EXHAUSTED that carries when to try again.
absl::Status TooMany(const std::string& message, double retry_seconds);

/// The same where all threads that answer are busy.
absl::Status TooManyCalls();

/// The same code and message, with an ErrorDetail serialised in the details.
grpc::Status ToGrpcStatus(const absl::Status& status);

}  // namespace gyrebox::api
