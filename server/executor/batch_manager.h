/// The batches on the device.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "executor/async_initialization.h"
#include "executor/batch.h"
#include "executor/chunk_pacer.h"
#include "executor/rate_meter.h"
#include "executor/recorder.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// A batch on the device, or initialising for it, with its place in the queue.
struct ActiveBatch {
  ActiveBatch(store::WaitingStudy from_queue, Batch packed, double chunk_seconds)
      : waiting(std::move(from_queue)), batch(std::move(packed)), pacer(chunk_seconds) {}

  store::WaitingStudy waiting;  ///< the study as it stood in the queue
  Batch batch;
  ChunkPacer pacer;
  int64_t bytes = 0;                                    ///< of device memory
  bool alone = false;                                   ///< needs the whole device memory
  std::unique_ptr<AsyncInitialization> initialization;  ///< null once the batch is initialised
  RateMeter::Clock::time_point recorded = RateMeter::Clock::now();
  RateMeter::Clock::time_point checkpointed = RateMeter::Clock::now();
};

/// Brings waiting runs onto the device and records their progress. Used by the executor's thread only.
class BatchManager {
 public:
  struct Times {
    double chunk_seconds, record_seconds, checkpoint_seconds;
    int64_t max_bytes_per_user = 0;  ///< on disk, beyond which runs are held; 0 for no limit
  };
  /// @param on_change called on any thread when a study has changed in the store. @param wake called on any thread when
  /// there may be work: initial states are ready, or a run that ended or was requeued has been stored.
  BatchManager(store::Store& store, kernels::Device& device, Recorder& recorder, Times times,
               std::function<void(int64_t study)> on_change, std::function<void()> wake)
      : store_(store),
        device_(device),
        recorder_(recorder),
        times_(times),
        on_change_(std::move(on_change)),
        wake_(std::move(wake)) {}

  /// Unfinished batches, including those still initialising.
  const std::vector<std::unique_ptr<ActiveBatch>>& active() const { return active_; }
  /// The batch and index of an open run; null if no batch holds it.
  std::pair<ActiveBatch*, size_t> Find(int64_t study, int64_t number) const;

  /// Whether the next run of a study needs the device to itself, because memory ran out otherwise.
  bool NeedsAll(int64_t study) const;
  /// Device memory in bytes and number of beads of the first waiting run of a study, if NeedsAll() is false.
  absl::StatusOr<std::pair<int64_t, int64_t>> DemandOf(int64_t study);

  /// Starts to initialise waiting runs of a study; fewer than `max_runs` if memory ran out with more.
  void Start(const store::WaitingStudy& waiting, int max_runs, const Room& room);
  /// Moves batches with ready initial states onto the device.
  void StartReadyBatches();

  /// Advances a batch by one chunk.
  void Step(ActiveBatch& on, RateMeter& rate);
  /// Ends the runs of studies that were cancelled.
  void CancelWhatIsCancelled();
  /// Records a batch if a record or checkpoint is due and the recorder is not behind.
  void RecordWhatIsDue(ActiveBatch& on);
  /// Evicts the runs of an owner over the disk quota as PAUSED, with the reason.
  void HoldWhatIsOverQuota(ActiveBatch& on);
  /// Whether a record is so late that the batch has to wait for the recorder.
  bool IsOverdue(const ActiveBatch& on) const;
  /// Hands the progress of a batch to the recorder. @param checkpoint with new checkpoints.
  void Record(ActiveBatch& on, bool checkpoint);
  /// Waits until the pending end of a run is stored, or every pending end in the study if number is 0. The store is
  /// then up to date for the run.
  void WaitForEnd(int64_t study, int64_t number);
  /// Takes all runs of a batch off the device. They are queued and resume later from their checkpoints.
  void Evict(ActiveBatch& on);
  /// Removes batches without open runs.
  void DropDone();

  int64_t bytes() const;
  /// Reports that a study has changed in the store.
  void Changed(int64_t study) { on_change_(study); }

 private:
  bool Activate(ActiveBatch& on);
  /// Takes runs for the device, and keeps those taken in `runs`. False if the server is stopping.
  bool Take(int64_t study, std::vector<PackedRun>* runs);
  /// Writes through the recorder and waits for it. False if the server is stopping.
  bool Write(Recorder::Write write);
  /// Why the runs of a user have to be held; empty if they need not be.
  std::string WhyHeld(const std::string& user);
  /// Pauses waiting runs, with the reason in their journals.
  void Hold(const store::QueuedRuns& queued, const std::string& why);
  /// Handles lack of device memory. The runs roll back to their last checkpoints and restart with half as many at a
  /// time; a single run restarts with the device to itself; a run that already had it fails.
  void RunShort(ActiveBatch& on);
  int64_t BytesOf(const ActiveBatch& on) const;
  bool CheckpointIsDue(const ActiveBatch& on) const;
  /// Hands writes to the recorder. @param ended numbers of the runs that these writes end or requeue.
  void Hand(int64_t study, std::vector<Recorder::Write> writes, const std::vector<int64_t>& ended);

  /// How the runs of a study fit into device memory.
  struct Fit {
    int max_runs;  ///< together
    bool alone;    ///< with the device to themselves
  };

  /// An end handed to the recorder.
  struct End {
    int64_t study, number;
    Recorder::Ticket ticket;
  };

  store::Store& store_;
  kernels::Device& device_;
  Recorder& recorder_;
  const Times times_;
  const std::function<void(int64_t)> on_change_;
  const std::function<void()> wake_;
  std::vector<End> ends_;  ///< those that may not be stored yet
  std::vector<std::unique_ptr<ActiveBatch>> active_;
  std::map<int64_t, Fit> fits_;  ///< by study, of those that ran out of memory since the server started
};

}  // namespace gyrebox::executor
