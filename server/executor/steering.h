/// What people do to runs, in the queue and on the device.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "executor/deck.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/store.h"

namespace gyrebox::executor {

/// Asks for an entry in the journals of runs.
struct SteerRequest {
  int64_t study = 0;
  int64_t run = 0;  ///< 0 for all runs of the study that this can be done to
  v1::Adjustment::Kind kind = v1::Adjustment::KIND_CHANGE;
  std::string person;
  std::string etag;                                             ///< of the run; empty takes it as it is
  google::protobuf::RepeatedPtrField<v1::FieldChange> changes;  ///< of KIND_CHANGE
  std::optional<double> time;                                   ///< tau, of KIND_CHANGE; none for now
  double ramp_time = 0;                                         ///< tau, of KIND_CHANGE
  double more_time = 0;                                         ///< tau, of KIND_EXTEND
  store::Request once;                                          ///< of a call that is to be done once
};

/// The entries that came of it, or why it cannot be done.
struct Steered {
  absl::Status status;
  std::vector<v1::FieldViolation> faults;  ///< where the request itself is at fault
  std::vector<v1::Adjustment> entries;
};

/// Does what is asked, for all runs or for none: into the journals first, and then on the device. NOT_FOUND;
/// FAILED_PRECONDITION where a run is not in a state for it; ABORTED where the etag is not that of the run.
Steered Steer(store::Store& store, Deck& deck, RateMeter& rate, const SteerRequest& request);

/// Keeps the state of a run that is not under way.
absl::StatusOr<v1::SavedState> SaveRun(store::Store& store, int64_t study, int64_t number, const store::Request& once);

}  // namespace gyrebox::executor
