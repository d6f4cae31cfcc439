/// Runs of one study on the device together, from their start until they end or leave.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "executor/chunk_pacer.h"
#include "executor/kept_frames.h"
#include "executor/laying_out.h"
#include "executor/pack.h"
#include "executor/rate_meter.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// A state as the device gave it. To pack it takes time, which is not the device's.
struct BedNow {
  kernels::BedState state;
  double side_x = 0, side_y = 0;  ///< sigma
  double time_step = 0;           ///< tau
};

/// As it is stored.
store::BedBytes ToBytes(const BedNow& bed);

/// What happened to a run since it was recorded last.
struct RunRecord {
  store::RunUpdate update;  ///< without states
  std::optional<BedNow> checkpoint, end_state;
};

/// With its states.
store::RunUpdate ToUpdate(const RunRecord& record);

/// One ensemble and what is to be written down of it.
class Batch {
 public:
  Batch(int64_t study, std::vector<PackedRun> runs);

  /// What kernels::LayOutAhead() takes.
  std::vector<kernels::RunSpec> specs() const;

  /// Lays the beds out. On a failure other than of memory every run ends as FAILED. @param ahead of specs(), and ready.
  void LayOut(kernels::Device& device, LayingOut& ahead);

  /// Ends every run as FAILED before it starts.
  void FailToStart(const std::string& why) { Fail("START_NOT_REACHED", why); }

  /// Takes up to so many steps, fewer where a frame is to be kept before; with 0 only runs that are at their last step
  /// end. On a failure other than of memory every run not at its end ends as FAILED. @return steps taken.
  int64_t Advance(int64_t steps, RateMeter& rate);
  /// Takes one chunk, of about the time wanted.
  void Advance(ChunkPacer& pacer, RateMeter& rate);

  /// Whether memory ran short. Then the runs are to go back, or to fail; nothing else can be done with the batch.
  bool short_of_memory() const { return short_of_memory_; }
  /// Gives the device back, and up what the runs not at their end did since they were recorded last.
  void GoBack();
  void FailForMemory(const kernels::Device& device);

  /// Ends every run not at its end as CANCELLED.
  void Cancel();

  /// Takes a run off the device at its checkpoint. @param state QUEUED or PAUSED. @param entry for its journal, or
  /// none.
  void Leave(size_t i, v1::Run::State state, std::optional<v1::Adjustment> entry = std::nullopt);
  /// The same with every run not at its end.
  void LeaveAll();
  /// The same, PAUSED by the server, for a reason.
  void HoldAll(const std::string& why);

  // Of a run that is not at its end, laid out or not:
  void Adjust(size_t i, const kernels::Adjustment& adjustment);
  void EndAt(size_t i, int64_t step);
  int64_t step(size_t i) const { return records_[i].update.step; }

  bool laid_out() const { return ensemble_ != nullptr; }
  // Of a run that is laid out:
  BedNow StateNow(size_t i) const { return Bed(i, ensemble_->Save(i)); }
  store::Frame FrameNow(size_t i) const;

  /// Place of a run that is not at its end, by its number.
  std::optional<size_t> Find(int64_t number) const;

  bool done() const { return open_ == 0; }
  size_t open_count() const { return open_; }
  int64_t open_beads() const;
  /// Whether a run came to its end since the last TakeUpdates().
  bool has_news() const { return has_news_; }
  int64_t study() const { return study_; }
  std::vector<int64_t> numbers() const;
  /// Numbers of the runs that are not at their end.
  std::vector<int64_t> open_numbers() const;
  int64_t BytesOn(const kernels::Device& device) const;
  /// Observables of each run that was laid out.
  std::vector<std::vector<v1::Observable>> observables() const;

  /// What happened since the last call. @param checkpoint with a state to go on from, where a run is past its last one.
  std::vector<RunRecord> TakeRecords(bool checkpoint);

 private:
  /// Does something on the device. Where that fails the runs do; a device that is lost is thrown on.
  template <class Work>
  void Try(const Work& work);
  void MakeEnsemble(kernels::Device& device);
  /// The place of the next frame to keep, or these steps on. Takes the frames that are due now.
  int64_t CutAtFrames(int64_t steps);
  void TakeSamples(size_t i, const std::vector<kernels::Sample>& samples);
  /// What a run did in a chunk, but for its samples.
  void Take(size_t i, kernels::RunChunk chunk);
  BedNow Bed(size_t i, kernels::BedState state) const;
  void SetCheckpoint(size_t i);
  /// Of a run at its end. @param with_this the frame of now too.
  void KeepLastFrames(size_t i, bool with_this);
  void End(size_t i, v1::Run::State state);
  void Fail(const std::string& reason, const std::string& message);

  const int64_t study_;
  std::vector<PackedRun> runs_;
  std::unique_ptr<kernels::Ensemble> ensemble_;
  std::vector<RunRecord> records_;         ///< of each run
  std::vector<bool> ended_;                ///< of each run
  std::vector<bool> told_;                 ///< of each run: its end was taken
  std::vector<int64_t> checkpoint_steps_;  ///< of each run: step of its last checkpoint
  std::vector<KeptFrames> frames_;         ///< of each run
  size_t open_ = 0;
  bool has_news_ = false;
  bool short_of_memory_ = false;
};

}  // namespace gyrebox::executor
