/// Waiting runs, and those taken by a device.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "store/connections.h"
#include "store/state_directory.h"

namespace gyrebox::store {

/// A study with waiting runs.
struct WaitingStudy {
  int64_t study = 0;
  std::string owner;
  int priority = 0;  ///< highest among these runs
  int count = 0;
};

/// A study and its waiting runs.
struct QueuedRuns {
  int64_t study = 0;
  v1::StudySpec spec;
  std::vector<v1::Run> runs;
};

class Queue {
 public:
  Queue(Connections& connections, const StateDirectory& files) : connections_(connections), files_(files) {}

  absl::StatusOr<std::vector<WaitingStudy>> ListWaiting();
  /// Waiting runs of a study, in starting order.
  absl::StatusOr<QueuedRuns> ListQueued(int64_t study, int limit);
  /// Remaining bead-steps by study; omits studies without open runs.
  absl::StatusOr<std::map<int64_t, double>> OpenWork();
  /// @param number of one run, or 0 for all. @return number of runs changed; only open runs change.
  absl::StatusOr<int> SetPriority(int64_t study, int64_t number, int priority);
  /// Takes waiting runs for a device; each of them is taken once, whoever asks. @return numbers of those taken.
  absl::StatusOr<std::vector<int64_t>> Start(int64_t study, std::span<const int64_t> numbers,
                                             const std::string& device);
  /// Rolls started runs back to their newest checkpoints and queues them.
  absl::Status Requeue(int64_t study, std::span<const int64_t> numbers);
  /// Does the same with the runs interrupted in an earlier process; those of cancelled studies end. For the opening of
  /// the store.
  absl::Status RecoverInterrupted();

 private:
  Connections& connections_;
  const StateDirectory& files_;
};

}  // namespace gyrebox::store
