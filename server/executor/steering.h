/// What people do to runs, in the queue and on the device.
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

#include "executor/chunk_pacer.h"
#include "executor/deck.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/store.h"
#include "study/steered_course.h"

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

/// What came of it, or why it cannot be done. Of a whole study, runs may have been steered all the same: see count.
struct Steered {
  absl::Status status;
  std::vector<v1::FieldViolation> faults = {};  ///< where the request itself is at fault
  std::vector<v1::Adjustment> entries = {};     ///< of the first runs
  int64_t count = 0;                            ///< runs that were steered
};
/// Entries that Steered tells.
inline constexpr size_t kMostEntriesTold = 100;

/// Entries of a journal. Beyond them a run can be let go on and finished, and after as many more nothing.
inline constexpr int64_t kMostEntries = 10'000;

/// Courses of the runs that were steered last, so that their journals need not be read again. Thread-safe.
class CourseBook {
 public:
  std::optional<study::SteeredCourse> Find(int64_t study, int64_t run) const;
  void Keep(int64_t study, int64_t run, const study::SteeredCourse& course);

 private:
  mutable std::mutex mutex_;
  std::map<std::pair<int64_t, int64_t>, study::SteeredCourse> courses_;  ///< guarded by mutex_
};

/// One request under way: into the journals first, and then on the device. What it takes is read beside the device;
/// between two chunks it is done in slices, each a transaction of as many runs as fit into 20 ms. A run is steered as a
/// whole or not at all; a study is not, where something fails in the middle.
///
/// NOT_FOUND; FAILED_PRECONDITION where a run is not in a state for it, or its journal is full; ABORTED where the etag
/// is not that of the run.
class SteerJob {
 public:
  explicit SteerJob(SteerRequest request) : request_(std::move(request)) {}

  const SteerRequest& request() const { return request_; }
  Steered& result() { return result_; }
  bool fine() const { return result_.status.ok() && result_.faults.empty(); }
  /// Whether the same call was done before: the result is what came of it then.
  bool answered() const { return answered_; }

  /// Reads what it takes, and refuses what can be refused before anything is done. On any thread.
  void Prepare(store::Store& store, CourseBook& book);
  /// Does a slice, on the executor's thread. @return whether more is to be done.
  bool GoOn(store::Store& store, Deck& deck, RateMeter& rate, CourseBook& book);
  /// Ends it before its end.
  void BreakOff(const absl::Status& why);

 private:
  using Course = study::SteeredCourse;
  void PrepareStudy(store::Store& store);
  /// Whether nothing is to be done: the call was done before, or that cannot be told.
  bool WasDone(store::Store& store);
  std::vector<v1::Run> NextRuns(store::Store& store, Deck& deck);
  /// The course of a run as its journal is now.
  absl::StatusOr<Course> CourseOf(store::Store& store, const v1::Run& run);
  study::AskedChange Ask(const Course& course, int64_t step, int64_t ramp_steps);

  friend class OneRun;
  const SteerRequest request_;
  Steered result_;
  bool answered_ = false;
  std::optional<study::SteerPoints> points_;
  std::map<int64_t, Course> courses_;                                      ///< of runs with journals
  std::map<std::pair<Course::Key, int64_t>, study::AskedChange> answers_;  ///< by course and steps of the ramp
  int64_t last_ = 0;                                                       ///< run of the last slice
  ChunkPacer pacer_{0.01};                                                 ///< of runs
};

/// Keeps the state of a run that is not under way.
absl::StatusOr<v1::SavedState> SaveRun(store::Store& store, int64_t study, int64_t number, const store::Request& once);

}  // namespace gyrebox::executor
