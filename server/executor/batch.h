/// Runs of one study that share the device, from their start until they end or leave it.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "executor/async_initialization.h"
#include "executor/chunk_pacer.h"
#include "executor/kept_frames.h"
#include "executor/pack.h"
#include "executor/rate_meter.h"
#include "executor/run_record.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// One ensemble and the records that are still to be written for it.
class Batch {
 public:
  Batch(int64_t study, std::vector<PackedRun> runs);

  /// Input of kernels::GenerateInitialStates().
  std::vector<kernels::RunSpec> specs() const;

  /// Creates the ensemble. On a failure other than lack of memory every run ends as FAILED.
  /// @param ahead made from specs(), and ready.
  void Initialize(kernels::Device& device, AsyncInitialization& ahead);

  /// Ends every run as FAILED without starting it.
  void FailToStart(const std::string& why) { Fail("START_NOT_REACHED", why); }

  /// Takes up to this many steps, fewer if a frame is due earlier. With 0 steps, only runs at their last step end. On a
  /// failure other than lack of memory every open run ends as FAILED. @return steps taken.
  int64_t Advance(int64_t steps, RateMeter& rate);
  /// Takes one chunk, sized by the pacer.
  void Advance(ChunkPacer& pacer, RateMeter& rate);

  /// Whether device memory ran out. The only valid calls are then Rollback() and FailForMemory().
  bool short_of_memory() const { return short_of_memory_; }
  /// Releases the device and discards the progress of open runs since their last record.
  void Rollback();
  void FailForMemory(const kernels::Device& device);

  /// Ends every open run as CANCELLED.
  void Cancel();

  /// Takes a run off the device at its newest checkpoint.
  /// @param state QUEUED or PAUSED. @param entry for its journal, or none.
  void Evict(size_t i, v1::Run::State state, std::optional<v1::Adjustment> entry = std::nullopt);
  /// Evicts every open run as QUEUED.
  void LeaveAll();
  /// Evicts every open run as PAUSED by the server, with the reason in its journal.
  void HoldAll(const std::string& why);

  // For an open run, initialised or not:
  void Adjust(size_t i, const kernels::Adjustment& adjustment);
  void EndAt(size_t i, int64_t step);
  int64_t step(size_t i) const { return records_[i].update.step; }

  bool initialized() const { return ensemble_ != nullptr; }
  // For an initialised run:
  BedNow StateNow(size_t i) const { return Bed(i, ensemble_->Save(i)); }
  store::Frame FrameNow(size_t i) const;

  /// Index of an open run, by its number.
  std::optional<size_t> Find(int64_t number) const;

  bool done() const { return open_ == 0; }
  size_t open_count() const { return open_; }
  int64_t open_beads() const;
  /// Whether a run has ended since the last TakeRecords().
  bool has_news() const { return has_news_; }
  int64_t study() const { return study_; }
  std::vector<int64_t> numbers() const;
  /// Numbers of the open runs.
  std::vector<int64_t> open_numbers() const;
  int64_t BytesOn(const kernels::Device& device) const;
  /// Observables of each run; empty before Initialize().
  std::vector<std::vector<v1::Observable>> observables() const;

  /// Progress since the last call. @param checkpoint adds a new checkpoint of each run that has passed its last one.
  std::vector<RunRecord> TakeRecords(bool checkpoint);

 private:
  /// Works on the device. A failure ends the open runs as FAILED; kernels::DeviceLost is rethrown.
  template <class Work>
  void Try(const Work& work);
  void MakeEnsemble(kernels::Device& device);
  /// Takes the frames that are due now. @return steps until the next frame is due, at most `steps`.
  int64_t CutAtFrames(int64_t steps);
  void TakeSamples(size_t i, const std::vector<kernels::Sample>& samples);
  /// Takes over what a run did in a chunk, except its samples.
  void Take(size_t i, kernels::RunChunk chunk);
  BedNow Bed(size_t i, kernels::BedState state) const;
  void SetCheckpoint(size_t i);
  /// Emits the held frames of an ending run. @param with_this also takes and emits the current frame.
  void KeepLastFrames(size_t i, bool with_this);
  void End(size_t i, v1::Run::State state);
  void Fail(const std::string& reason, const std::string& message);

  const int64_t study_;
  std::vector<PackedRun> runs_;
  std::unique_ptr<kernels::Ensemble> ensemble_;
  std::vector<RunRecord> records_;         ///< of each run
  std::vector<bool> ended_;                ///< of each run
  std::vector<bool> told_;                 ///< of each run: its end was already returned by TakeRecords()
  std::vector<int64_t> checkpoint_steps_;  ///< of each run: step of its last checkpoint
  std::vector<KeptFrames> frames_;         ///< of each run
  size_t open_ = 0;
  bool has_news_ = false;
  bool short_of_memory_ = false;
};

}  // namespace gyrebox::executor
