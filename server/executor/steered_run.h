/// One run and its adjustment.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "executor/batch_manager.h"
#include "executor/steer_job.h"
#include "executor/steer_request.h"
#include "gyrebox/v1/run.pb.h"
#include "store/store.h"
#include "study/steered_course.h"

namespace gyrebox::executor {

/// Why a change cannot take effect at a time in tau that a run at this step has passed.
std::string PastText(const std::string& run, double time, int64_t step, double time_step);

/// A run that a job steers, in the queue or on the device.
class SteeredRun {
 public:
  SteeredRun(SteerJob& job, store::Store& store, const BatchManager& batches, v1::Run run, study::SteeredCourse course);

  int64_t number() const { return number_; }

  /// Checks the request against the run and fills the journal entry.
  void Prepare(Steered* result);

  /// Whether the batch records the entry, together with the checkpoint at which the run leaves the device: to be
  /// paused, or to be initialised again without a withdrawn change.
  bool LeavesDevice() const { return on_ != nullptr && MakesLeave(request_.kind); }

  store::JournalWrite ToWrite() const { return {number_, entry_, run_.state()}; }
  const v1::Adjustment& entry() const { return entry_; }
  /// The batch that holds the run; null if it is not on the device.
  ActiveBatch* on() const { return on_; }

  /// Applies the entry to the batch.
  void Follow();

  /// Adds the entry to the course and returns it.
  const study::SteeredCourse& Followed();

 private:
  int64_t StepsIn(double time) const;
  void PrepareChange(Steered* result);
  void PrepareExtend(Steered* result);
  void PrepareWithdrawal(Steered* result);

  SteerJob& job_;
  store::Store& store_;
  const SteerRequest& request_;
  v1::Run run_;
  int64_t number_;
  study::SteeredCourse course_;
  ActiveBatch* on_ = nullptr;
  size_t index_ = 0;
  v1::Adjustment entry_;
};

}  // namespace gyrebox::executor
