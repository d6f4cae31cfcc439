/// Quotas of one user, and the range of priorities.
#pragma once

#include <absl/status/status.h>

#include <cstdint>

#include "api/server_context.h"

namespace gyrebox::api {

/// RESOURCE_EXHAUSTED if a run has more beads than one user may have on the device. The store checks the other quotas
/// when it accepts work: see store::Bounds.
absl::Status CheckBeads(const ServerContext& server, int64_t max_beads);

/// INVALID_ARGUMENT if a priority is out of range.
absl::Status CheckPriority(int priority);

}  // namespace gyrebox::api
