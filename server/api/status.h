/// Errors as values inside, gRPC statuses outside, in the error model of google/rpc: whatever a call is refused for,
/// its trailer grpc-status-details-bin holds a google.rpc.Status with an ErrorInfo, and where it applies a BadRequest,
/// a RetryInfo and a PreconditionFailure (https://google.aip.dev/193).
#pragma once

#include <absl/status/status.h>
#include <grpcpp/support/status.h>

#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"

namespace gyrebox::api {

/// The domain of every ErrorInfo.
inline constexpr char kErrorDomain[] = "gyrebox";

/// INVALID_ARGUMENT that carries every field at fault.
absl::Status InvalidStudy(const std::vector<v1::FieldViolation>& violations);

/// The same for any other request: its message tells the first fault.
absl::Status InvalidRequest(const std::vector<v1::FieldViolation>& violations);

/// RESOURCE_EXHAUSTED that carries when to try again.
absl::Status TooMany(const std::string& message, double retry_seconds);

/// The same where all threads that answer are busy.
absl::Status TooManyCalls();

/// A status with a reason that its code does not tell.
absl::Status WithReason(absl::Status status, const std::string& reason);

/// The same code and message, with all details. The trailer stays under 8 KiB, which most peers take.
grpc::Status ToGrpcStatus(const absl::Status& status);

}  // namespace gyrebox::api
