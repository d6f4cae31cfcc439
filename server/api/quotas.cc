#include "api/quotas.h"

namespace gyrebox::api {

constexpr int kMostPriority = 100;

absl::Status CheckBeads(const Rooms& rooms, int64_t most_beads) {
  const int64_t most = rooms.quotas.device_beads;
  if (most == 0 || most_beads <= most) return absl::OkStatus();
  return absl::ResourceExhaustedError("a run of this study has more beads than the quota of " + std::to_string(most) +
                                      " on the device at a time; give a smaller bed.bead_count");
}

absl::Status CheckPriority(int priority) {
  if (-kMostPriority <= priority && priority <= kMostPriority) return absl::OkStatus();
  return absl::InvalidArgumentError("priority is not within -100 and 100");
}

}  // namespace gyrebox::api
