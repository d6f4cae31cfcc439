/// Errors as values inside, gRPC statuses outside, in the error model of google/rpc: the trailer
/// grpc-status-details-bin of every rejected call holds a google.rpc.Status with an ErrorInfo and, where applicable, a
/// BadRequest, a RetryInfo and a PreconditionFailure (https://google.aip.dev/193).
#pragma once

#include <absl/status/status.h>
#include <grpcpp/support/status.h>

#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"

namespace gyrebox::api {

/// The domain of every ErrorInfo.
inline constexpr char kErrorDomain[] = "gyrebox";

/// INVALID_ARGUMENT with every invalid field.
absl::Status InvalidStudy(const std::vector<v1::FieldViolation>& violations);

/// The same for any other request; the message states the first fault.
absl::Status InvalidRequest(const std::vector<v1::FieldViolation>& violations);

/// RESOURCE_EXHAUSTED with the time to wait before a retry.
absl::Status TooMany(const std::string& message, double retry_seconds);

/// The same if all worker threads are busy.
absl::Status TooManyCalls();

/// A status with a reason more specific than its code.
absl::Status WithReason(absl::Status status, const std::string& reason);

/// The same code and message, with all details. The trailer stays under 8 KiB, which most peers accept.
grpc::Status ToGrpcStatus(const absl::Status& status);

}  // namespace gyrebox::api
