/// Runs of studies, and their progress.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/bed_bytes.h"
#include "store/connections.h"
#include "store/frame.h"
#include "store/series.h"
#include "store/state_directory.h"
#include "study/expand.h"

namespace gyrebox::store {

/// Progress of a run since its last record.
struct RunUpdate {
  int64_t number = 0;
  v1::Run::State state = v1::Run::STATE_RUNNING;  ///< QUEUED or PAUSED if it leaves the device
  int64_t step = 0;
  double time = 0;  ///< tau
  std::optional<v1::Fault> fault;
  std::vector<v1::Fault> recovered_faults;  ///< all so far
  std::string warning;                      ///< empty if none was raised so far
  std::optional<BedBytes> end_state;        ///< if it has just ended and leaves one
  std::optional<BedBytes> checkpoint;       ///< to resume from; the samples so far precede its step
  std::optional<v1::Adjustment> entry;      ///< for its journal
  SampleRows samples;                       ///< new samples, appended to the series; `first` is unused
  std::vector<Frame> frames;                ///< to keep; a frame of an already stored step is identical to it
};

/// Position in the list of the runs of a study, ordered by their changes.
struct ChangeCursor {
  int64_t change = 0;
  int64_t number = 0;
};

/// Changed runs, in the order of their changes.
struct ChangedRuns {
  std::vector<v1::Run> runs;
  std::vector<ChangeCursor> cursors;  ///< of each run
};

class Runs {
 public:
  Runs(Connections& connections, const StateDirectory& files) : connections_(connections), files_(files) {}

  /// NOT_FOUND.
  absl::StatusOr<v1::Run> Get(int64_t study, int64_t number);
  absl::StatusOr<std::vector<v1::Run>> List(int64_t study, int64_t above_number, int limit);
  /// Starting and running runs.
  absl::StatusOr<std::vector<v1::Run>> ListOnDevice(int64_t study, int64_t above_number, int limit);
  /// Queued, starting, running and paused runs.
  absl::StatusOr<std::vector<v1::Run>> ListOpen(int64_t study);
  absl::StatusOr<ChangedRuns> ListChanged(int64_t study, ChangeCursor after, int limit);
  absl::StatusOr<int64_t> Count(v1::Run::State state);
  /// The time-step audit runs of a study, by number.
  absl::StatusOr<std::vector<study::AuditedRun>> GetAudited(int64_t study);
  /// The furthest step a run has ever reached; after an interruption the run may be behind it.
  absl::StatusOr<int64_t> ReachedStep(int64_t study, int64_t number);

  /// Returns cancelled runs to the queue, in slices; an edit by a user. @param number of a run; 0 for all runs of the
  /// study. @return their number. FAILED_PRECONDITION if there is none, or while cancelled runs are on a device.
  /// (restart.cc)
  absl::StatusOr<int64_t> Restart(int64_t study, int64_t number, const std::string& user);
  /// An edit by a user. @param exclusion none includes the run again; FAILED_PRECONDITION if it is not excluded.
  absl::StatusOr<v1::Run> Exclude(int64_t study, int64_t number, const std::optional<v1::Exclusion>& exclusion,
                                  const std::string& user);
  /// Atomic. If the study has been cancelled meanwhile, runs updated to QUEUED or PAUSED end as CANCELLED.
  /// (progress.cc)
  absl::Status RecordProgress(int64_t study, std::vector<RunUpdate> updates);

 private:
  Connections& connections_;
  const StateDirectory& files_;
};

}  // namespace gyrebox::store
