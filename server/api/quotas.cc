#include "api/quotas.h"

namespace gyrebox::api {

constexpr int kMostPriority = 100;

static absl::Status CheckRuns(const Rooms& rooms, const std::string& person, int64_t more) {
  const int64_t most = rooms.quotas.queued_runs;
  if (most == 0 || more == 0) return absl::OkStatus();
  const auto there = rooms.store.CountOpenRuns(person);
  if (!there.ok()) return there.status();
  if (*there + more <= most) return absl::OkStatus();
  return absl::ResourceExhaustedError(person + " has " + std::to_string(*there) + " runs waiting, and " +
                                      std::to_string(more) + " more are over the quota of " + std::to_string(most) +
                                      "; wait until some have run, or cancel some");
}

static absl::Status CheckBytes(const Rooms& rooms, const std::string& person) {
  const int64_t most = rooms.quotas.stored_bytes;
  if (most == 0) return absl::OkStatus();
  const auto stored = rooms.store.StoredBytes();
  if (!stored.ok()) return stored.status();
  const auto mine = stored->find(person);
  if (mine == stored->end() || mine->second < most) return absl::OkStatus();
  return absl::ResourceExhaustedError(person + " has " + std::to_string(mine->second) +
                                      " bytes on disk; the quota is " + std::to_string(most) +
                                      "; delete studies that are not needed any more");
}

absl::Status CheckQuotas(const Rooms& rooms, const std::string& person, const More& more) {
  if (auto status = CheckRuns(rooms, person, more.runs); !status.ok()) return status;
  if (auto status = CheckBytes(rooms, person); !status.ok()) return status;
  const int64_t most = rooms.quotas.device_beads;
  if (most == 0 || more.most_beads <= most) return absl::OkStatus();
  return absl::ResourceExhaustedError("a run of this study has more beads than the quota of " + std::to_string(most) +
                                      " on the device at a time; give a smaller bed.bead_count");
}

absl::Status CheckQuotasOfOwner(const Rooms& rooms, int64_t study, const More& more) {
  const auto owner = rooms.store.GetOwner(study);
  return owner.ok() ? CheckQuotas(rooms, *owner, more) : owner.status();
}

absl::Status CheckPriority(int priority) {
  if (-kMostPriority <= priority && priority <= kMostPriority) return absl::OkStatus();
  return absl::InvalidArgumentError("priority is not within -100 and 100");
}

}  // namespace gyrebox::api
