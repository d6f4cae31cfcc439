/// What is on the device.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "executor/batch.h"
#include "executor/chunk_pacer.h"
#include "executor/rate_meter.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// A batch on the device, and whose it is.
struct Boarded {
  Boarded(store::WaitingStudy from_queue, Batch packed, double chunk_seconds)
      : waiting(std::move(from_queue)), batch(std::move(packed)), pacer(chunk_seconds) {}

  store::WaitingStudy waiting;  ///< the study as it stood in the queue
  Batch batch;
  ChunkPacer pacer;
  int64_t bytes = 0;  ///< of device memory
  RateMeter::Clock::time_point recorded = RateMeter::Clock::now();
  RateMeter::Clock::time_point checkpointed = RateMeter::Clock::now();
};

/// Brings waiting runs onto the device, and writes down what they do there. Used by the executor's thread alone.
class Deck {
 public:
  struct Times {
    double chunk_seconds, record_seconds, checkpoint_seconds;
  };
  /// Tries a write until it succeeds. False where the server stops.
  using Persist = std::function<bool(const std::function<absl::Status()>&)>;

  Deck(store::Store& store, kernels::Device& device, Times times, Persist persist,
       std::function<void(int64_t study)> on_change)
      : store_(store), device_(device), times_(times), persist_(std::move(persist)), on_change_(std::move(on_change)) {}

  /// All batches with runs that are not at their end.
  const std::vector<std::unique_ptr<Boarded>>& boarded() const { return boarded_; }
  /// The batch and place of a run that is under way; null where it is not on the device.
  std::pair<Boarded*, size_t> Find(int64_t study, int64_t number) const;

  /// What the first waiting run of a study needs, in bytes of device memory and in beads.
  absl::StatusOr<std::pair<int64_t, int64_t>> NeedOf(int64_t study);

  /// Lays out runs of a study that wait. Null where it came to nothing.
  Boarded* Start(const store::WaitingStudy& waiting, int most_runs, const Room& room);

  /// Takes one chunk.
  void Step(Boarded& on, RateMeter& rate) { on.batch.Advance(on.pacer, rate); }
  /// Ends the runs of studies that were cancelled.
  void CancelWhatIsCancelled();
  /// Writes down what is due.
  void RecordWhatIsDue(Boarded& on);
  /// Writes down what a batch did. @param checkpoint with states to go on from.
  void Record(Boarded& on, bool checkpoint);
  /// Takes all runs of a batch off the device; they wait, and go on later from where they are.
  void Leave(Boarded& on);
  /// Gives up batches without runs that are not at their end.
  void DropDone();

  int64_t bytes() const;
  /// Tells that a study has changed in the store.
  void Changed(int64_t study) { on_change_(study); }

 private:
  absl::StatusOr<std::vector<PackedRun>> PackWaiting(const store::QueuedRuns& queued, const Room& room);
  bool Begin(Boarded& on);

  store::Store& store_;
  kernels::Device& device_;
  const Times times_;
  const Persist persist_;
  const std::function<void(int64_t)> on_change_;
  std::vector<std::unique_ptr<Boarded>> boarded_;
};

}  // namespace gyrebox::executor
