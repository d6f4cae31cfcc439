/// Runs of one study on the device together, from their start to their end.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "executor/chunk_pacer.h"
#include "executor/rate_meter.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// A run to lay out.
struct PackedRun {
  int64_t number = 0;
  kernels::RunSpec spec;
};

/// The first of the waiting runs that fit on the device together; at least one.
/// @param saved the beads of a saved start, or null.
std::vector<PackedRun> Pack(const store::QueuedRuns& queued, const kernels::Device& device,
                            const std::shared_ptr<const kernels::SavedBed>& saved = nullptr);

/// One ensemble and what is to be written down of it.
class Batch {
 public:
  Batch(int64_t study, std::vector<PackedRun> runs);

  /// Lays the beds out. Where memory runs short, tries again with half the runs; the others are in left_out().
  /// On any other failure every run ends as FAILED.
  void LayOut(kernels::Device& device);

  /// Ends every run as FAILED before it starts.
  void FailToStart(const std::string& why) { Fail("START_NOT_REACHED", why); }

  /// Takes one chunk. On a failure every run not at its end ends as FAILED.
  void Advance(ChunkPacer& pacer, RateMeter& rate);

  /// Ends every run not at its end as CANCELLED.
  void Cancel();

  bool done() const { return open_ == 0; }
  /// Whether a run came to its end since the last TakeUpdates().
  bool has_news() const { return has_news_; }
  int64_t study() const { return study_; }
  std::vector<int64_t> numbers() const;
  const std::vector<int64_t>& left_out() const { return left_out_; }
  /// Observables of each run that was laid out.
  std::vector<std::vector<v1::Observable>> observables() const;

  /// What happened since the last call.
  std::vector<store::RunUpdate> TakeUpdates();

 private:
  void Take(size_t i, kernels::RunChunk chunk);
  void KeepState(size_t i);
  void End(size_t i, v1::Run::State state);
  void Fail(const std::string& reason, const std::string& message);

  const int64_t study_;
  std::vector<PackedRun> runs_;
  std::vector<int64_t> left_out_;
  std::unique_ptr<kernels::Ensemble> ensemble_;
  std::vector<store::RunUpdate> updates_;  ///< of each run
  std::vector<bool> ended_;                ///< of each run
  std::vector<bool> told_;                 ///< of each run: its end was taken
  size_t open_ = 0;
  bool has_news_ = false;
};

}  // namespace gyrebox::executor
