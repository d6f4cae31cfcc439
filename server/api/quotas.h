/// What one person may have, and ask for.
#pragma once

#include <absl/status/status.h>

#include <cstdint>

#include "api/rooms.h"

namespace gyrebox::api {

/// RESOURCE_EXHAUSTED where a run has more beads than one person may have on the device. What the other quotas allow
/// the store checks as it takes things in: see store::Bounds.
absl::Status CheckBeads(const Rooms& rooms, int64_t most_beads);

/// INVALID_ARGUMENT where a priority is none.
absl::Status CheckPriority(int priority);

}  // namespace gyrebox::api
