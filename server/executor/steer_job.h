/// Executes one request of a user to adjust runs, in the queue or on the device.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "executor/batch_manager.h"
#include "executor/chunk_pacer.h"
#include "executor/course_book.h"
#include "executor/steer_request.h"
#include "store/store.h"
#include "study/steered_course.h"

namespace gyrebox::executor {

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

  /// What the request changes in a run of this course.
  study::RequestedAdjustment Ask(const study::SteeredCourse& course, int64_t step, int64_t ramp_steps);

 private:
  using Course = study::SteeredCourse;
  void PrepareStudy(store::Store& store);
  /// Whether there is nothing to do: the call was executed before, or the lookup failed.
  bool WasDone(store::Store& store);
  std::vector<v1::Run> NextRuns(store::Store& store, BatchManager& batches);
  /// The course of a run by its current journal.
  absl::StatusOr<Course> CourseOf(store::Store& store, const v1::Run& run);

  const SteerRequest request_;
  Steered result_;
  bool answered_ = false;
  std::optional<study::SteerPoints> points_;
  std::map<int64_t, Course> courses_;                                              ///< of runs with journals
  std::map<std::pair<Course::Key, int64_t>, study::RequestedAdjustment> answers_;  ///< by course and ramp steps
  int64_t last_ = 0;                                                               ///< last run of the last slice
  ChunkPacer pacer_{0.01};                                                         ///< of runs
};

}  // namespace gyrebox::executor
