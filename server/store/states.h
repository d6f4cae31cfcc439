/// States of runs: checkpoints, end states, states kept for studies to start from, and the start states of studies.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/steering.pb.h"
#include "store/bed_bytes.h"
#include "store/connections.h"
#include "store/requests.h"
#include "store/series.h"
#include "store/space.h"
#include "store/state_directory.h"

namespace gyrebox::store {

/// State from which a run resumes, and its progress there.
struct Checkpoint {
  BedBytes bed;
  int64_t sample_count = 0;
  int64_t last_sample_step = -1;  ///< -1 if there is none
};

class States {
 public:
  States(Connections& connections, const StateDirectory& files, const Space& space, Series& series)
      : connections_(connections), files_(files), space_(space), series_(series) {}

  /// End state of a run. FAILED_PRECONDITION if it left none, DATA_LOSS if that is damaged.
  absl::StatusOr<BedBytes> GetEnd(int64_t study, int64_t number);
  /// End state or kept state of a run at a step. NOT_FOUND, DATA_LOSS.
  absl::StatusOr<BedBytes> GetAt(int64_t study, int64_t number, int64_t step);
  /// The newest checkpoint of a run; none if it starts from step 0. DATA_LOSS if its file is damaged.
  absl::StatusOr<std::optional<Checkpoint>> GetCheckpoint(int64_t study, int64_t number);
  /// Deletes the newest checkpoint of a waiting run and rolls the run back to the previous one, or to its start.
  absl::Status DropCheckpoint(int64_t study, int64_t number);
  /// Keeps a state for studies to start from. RESOURCE_EXHAUSTED if the owner exceeds a limit.
  absl::StatusOr<v1::SavedState> Keep(int64_t study, int64_t number, const BedBytes& state,
                                      const Request& request = {});
  /// Keeps the newest checkpoint for studies to start from. FAILED_PRECONDITION if there is none.
  absl::StatusOr<v1::SavedState> KeepCheckpoint(int64_t study, int64_t number, const Request& request = {});
  /// Kept state or end state of a run. NOT_FOUND.
  absl::StatusOr<v1::SavedState> GetSaved(int64_t study, const Made::OfRun& made);
  absl::StatusOr<std::vector<v1::SavedState>> ListSaved(int64_t study, int64_t number);
  /// The study's own copy of its start state. DATA_LOSS if it is missing or damaged. (start_state.cc)
  absl::StatusOr<BedBytes> GetStart(int64_t study);

  /// Moves files that are not in the database to the directory `lost`. For the opening of the store.
  absl::Status Sweep();

 private:
  /// Removes the file of a state that could not be recorded, unless another state uses it.
  void RemoveIfUnused(int64_t study, int64_t number, const std::string& file);

  Connections& connections_;
  const StateDirectory& files_;
  const Space& space_;
  Series& series_;
};

}  // namespace gyrebox::store
