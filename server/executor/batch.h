/// Runs of one study on the device together, from their start until they end or leave.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "executor/chunk_pacer.h"
#include "executor/kept_frames.h"
#include "executor/pack.h"
#include "executor/rate_meter.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// One ensemble and what is to be written down of it.
class Batch {
 public:
  Batch(int64_t study, std::vector<PackedRun> runs);

  /// Lays the beds out. Where memory runs short, tries again with half the runs; the others are in left_out().
  /// On any other failure every run ends as FAILED.
  void LayOut(kernels::Device& device);

  /// Ends every run as FAILED before it starts.
  void FailToStart(const std::string& why) { Fail("START_NOT_REACHED", why); }

  /// Takes up to so many steps, fewer where a frame is to be kept before; with 0 only runs that are at their last step
  /// end. On a failure every run not at its end ends as FAILED. @return steps taken.
  int64_t Advance(int64_t steps, RateMeter& rate);
  /// Takes one chunk, of about the time wanted.
  void Advance(ChunkPacer& pacer, RateMeter& rate);

  /// Ends every run not at its end as CANCELLED.
  void Cancel();

  /// Takes a run off the device at its checkpoint. @param state QUEUED or PAUSED. @param entry for its journal, or
  /// none.
  void Leave(size_t i, v1::Run::State state, std::optional<v1::Adjustment> entry = std::nullopt);
  /// The same with every run not at its end.
  void LeaveAll();

  // Of a run under way:
  void Adjust(size_t i, const kernels::Adjustment& adjustment) { ensemble_->Adjust(i, adjustment); }
  void EndAt(size_t i, int64_t step) { ensemble_->EndAt(i, step); }
  store::BedBytes StateNow(size_t i) const { return ToBytes(i, ensemble_->Save(i)); }
  store::Frame FrameNow(size_t i) const;
  int64_t step(size_t i) const { return updates_[i].step; }

  /// Place of a run that is not at its end, by its number.
  std::optional<size_t> Find(int64_t number) const;

  bool done() const { return open_ == 0; }
  size_t open_count() const { return open_; }
  int64_t open_beads() const;
  /// Whether a run came to its end since the last TakeUpdates().
  bool has_news() const { return has_news_; }
  int64_t study() const { return study_; }
  std::vector<int64_t> numbers() const;
  const std::vector<int64_t>& left_out() const { return left_out_; }
  int64_t BytesOn(const kernels::Device& device) const;
  /// Observables of each run that was laid out.
  std::vector<std::vector<v1::Observable>> observables() const;

  /// What happened since the last call. @param checkpoint with a state to go on from, where a run is past its last one.
  std::vector<store::RunUpdate> TakeUpdates(bool checkpoint);

 private:
  /// The place of the next frame to keep, or these steps on. Takes the frames that are due now.
  int64_t CutAtFrames(int64_t steps);
  void Take(size_t i, kernels::RunChunk chunk);
  store::BedBytes ToBytes(size_t i, const kernels::BedState& state) const;
  void SetCheckpoint(size_t i);
  /// Of a run at its end. @param with_this the frame of now too.
  void KeepLastFrames(size_t i, bool with_this);
  void End(size_t i, v1::Run::State state);
  void Fail(const std::string& reason, const std::string& message);

  const int64_t study_;
  std::vector<PackedRun> runs_;
  std::vector<int64_t> left_out_;
  std::unique_ptr<kernels::Ensemble> ensemble_;
  std::vector<store::RunUpdate> updates_;  ///< of each run
  std::vector<bool> ended_;                ///< of each run
  std::vector<bool> told_;                 ///< of each run: its end was taken
  std::vector<int64_t> checkpoint_steps_;  ///< of each run: step of its last checkpoint
  std::vector<KeptFrames> frames_;         ///< of each run
  size_t open_ = 0;
  bool has_news_ = false;
};

}  // namespace gyrebox::executor
