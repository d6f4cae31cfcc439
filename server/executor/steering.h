/// Adjustments by users to runs, in the queue and on the device.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "executor/batch_manager.h"
#include "executor/chunk_pacer.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/store.h"
#include "study/steered_course.h"

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

/// Cache of the courses of recently steered runs, which avoids reading their journals again. Thread-safe.
class CourseBook {
 public:
  std::optional<study::SteeredCourse> Find(int64_t study, int64_t run) const;
  void Keep(int64_t study, int64_t run, const study::SteeredCourse& course);

 private:
  mutable std::mutex mutex_;
  std::map<std::pair<int64_t, int64_t>, study::SteeredCourse> courses_;  ///< guarded by mutex_
};

/// Executes one request: first writes the journals, then adjusts the device. Reads its input while the device works;
/// executes between two chunks, in slices that aim at 10 ms each, one transaction per slice. A run is steered entirely
/// or not at all; a study may be steered in part if a slice fails.
///
/// NOT_FOUND; FAILED_PRECONDITION if the state of a run does not allow the adjustment or its journal is full; ABORTED
/// if the etag does not match.
class SteerJob {
 public:
  explicit SteerJob(SteerRequest request) : request_(std::move(request)) {}

  const SteerRequest& request() const { return request_; }
  Steered& result() { return result_; }
  bool fine() const { return result_.status.ok() && result_.faults.empty(); }
  /// Whether the same call was executed before; result() is then its earlier result.
  bool answered() const { return answered_; }

  /// Reads the input and rejects invalid requests before anything is changed. Runs on any thread.
  void Prepare(store::Store& store, CourseBook& book);
  /// Executes one slice, on the executor's thread. @return whether slices remain.
  bool GoOn(store::Store& store, BatchManager& batches, RateMeter& rate, CourseBook& book);
  /// Aborts the job; the result states how many runs were steered.
  void BreakOff(const absl::Status& why);

 private:
  using Course = study::SteeredCourse;
  void PrepareStudy(store::Store& store);
  /// Whether there is nothing to do: the call was executed before, or the lookup failed.
  bool WasDone(store::Store& store);
  std::vector<v1::Run> NextRuns(store::Store& store, BatchManager& batches);
  /// The course of a run by its current journal.
  absl::StatusOr<Course> CourseOf(store::Store& store, const v1::Run& run);
  study::RequestedAdjustment Ask(const Course& course, int64_t step, int64_t ramp_steps);

  friend class OneRun;
  const SteerRequest request_;
  Steered result_;
  bool answered_ = false;
  std::optional<study::SteerPoints> points_;
  std::map<int64_t, Course> courses_;                                              ///< of runs with journals
  std::map<std::pair<Course::Key, int64_t>, study::RequestedAdjustment> answers_;  ///< by course and ramp steps
  int64_t last_ = 0;                                                               ///< last run of the last slice
  ChunkPacer pacer_{0.01};                                                         ///< of runs
};

/// Saves the state of a run that is not on the device.
absl::StatusOr<v1::SavedState> SaveRun(store::Store& store, int64_t study, int64_t number, const store::Request& once);

}  // namespace gyrebox::executor
