/// What a server says when it refuses a call.
#pragma once

#include <absl/status/status.h>
#include <grpcpp/support/status.h>

#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"

namespace gyrebox::client {

/// The same status, with the google.rpc.Status of a refusal as payload.
absl::Status ToStatus(const grpc::Status& status);

/// Invalid fields that a server named in a refusal.
std::vector<v1::FieldViolation> ViolationsOf(const absl::Status& status);

/// Reason of a refusal from its ErrorInfo, in UPPER_SNAKE_CASE; empty if there is none.
std::string ReasonOf(const absl::Status& status);

/// What to do if a call failed because the certificate of the server does not name its host; empty for other failures.
std::string CertificateFault(const absl::Status& status);

/// Delay that a refusal asks for before the next try; none if it asks for none.
std::optional<std::chrono::nanoseconds> RequestedDelay(const grpc::Status& status);

}  // namespace gyrebox::client
