/// A request to steer runs, and its result.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/store.h"

namespace gyrebox::executor {

/// Requests an entry in the journals of runs.
struct SteerRequest {
  int64_t study = 0;
  int64_t run = 0;  ///< 0 for all runs of the study that accept the adjustment
  v1::Adjustment::Kind kind = v1::Adjustment::KIND_CHANGE;
  std::string user;
  std::string etag;                                             ///< expected etag of the run; empty skips the check
  google::protobuf::RepeatedPtrField<v1::FieldChange> changes;  ///< of KIND_CHANGE
  std::optional<double> time;                                   ///< tau, of KIND_CHANGE; none for immediately
  double ramp_time = 0;                                         ///< tau, of KIND_CHANGE
  double more_time = 0;                                         ///< tau, of KIND_EXTEND
  int64_t withdrawn_entry = 0;                                  ///< of KIND_WITHDRAW
  store::Request once;                                          ///< identifies a call that must execute only once
};

/// The result, or why the request failed. For a whole study some runs may have been steered despite a failure: see
/// count.
struct Steered {
  absl::Status status;
  std::vector<v1::FieldViolation> faults = {};  ///< errors in the request itself
  std::vector<v1::Adjustment> entries = {};     ///< of the first runs
  int64_t count = 0;                            ///< number of steered runs
};
/// Max entries in Steered.
inline constexpr size_t kMaxEntriesTold = 100;

/// Max entries of a journal. Beyond it a run can only be resumed or finished, and beyond twice as many not even that.
inline constexpr int64_t kMaxEntries = 10'000;

/// Adds the faults of a request that do not depend on the runs.
void CheckRequest(const SteerRequest& request, std::vector<v1::FieldViolation>* faults);

}  // namespace gyrebox::executor
