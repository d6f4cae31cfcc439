#include "access/quotas.h"

namespace gyrebox::access {

constexpr int kMaxPriority = 100;

absl::Status CheckBeads(const Quotas& quotas, int64_t max_beads) {
  const int64_t most = quotas.device_beads;
  if (most == 0 || max_beads <= most) return absl::OkStatus();
  return absl::ResourceExhaustedError("a run of this study has more beads than the quota of " + std::to_string(most) +
                                      " on the device at a time; give a smaller bed.bead_count");
}

absl::Status CheckPriority(int priority) {
  if (-kMaxPriority <= priority && priority <= kMaxPriority) return absl::OkStatus();
  return absl::InvalidArgumentError("priority is not within -100 and 100");
}

}  // namespace gyrebox::access
