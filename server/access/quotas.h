/// Quotas of one user, and the range of priorities.
#pragma once

#include <absl/status/status.h>

#include <cstdint>

namespace gyrebox::access {

/// Limits for one user at a time; 0 for no limit.
struct Quotas {
  int64_t queued_runs = 0;
  int64_t stored_bytes = 0;
  int64_t device_beads = 0;
  int64_t reserve_bytes = 0;  ///< of the disk, kept free for active runs
};

/// RESOURCE_EXHAUSTED if a run has more beads than one user may have on the device. The store checks the other quotas
/// when it accepts work: see store::Bounds.
absl::Status CheckBeads(const Quotas& quotas, int64_t max_beads);

/// INVALID_ARGUMENT if a priority is out of range.
absl::Status CheckPriority(int priority);

}  // namespace gyrebox::access
