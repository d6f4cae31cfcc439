/// What is on the device.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "executor/batch.h"
#include "executor/chunk_pacer.h"
#include "executor/laying_out.h"
#include "executor/rate_meter.h"
#include "executor/recorder.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// A batch on the device, or about to be there, and whose it is.
struct Boarded {
  Boarded(store::WaitingStudy from_queue, Batch packed, double chunk_seconds)
      : waiting(std::move(from_queue)), batch(std::move(packed)), pacer(chunk_seconds) {}

  store::WaitingStudy waiting;  ///< the study as it stood in the queue
  Batch batch;
  ChunkPacer pacer;
  int64_t bytes = 0;                      ///< of device memory
  bool alone = false;                     ///< it is to have all of the memory
  std::unique_ptr<LayingOut> laying_out;  ///< null once it is laid out
  RateMeter::Clock::time_point recorded = RateMeter::Clock::now();
  RateMeter::Clock::time_point checkpointed = RateMeter::Clock::now();
};

/// Brings waiting runs onto the device, and writes down what they do there. Used by the executor's thread alone.
class Deck {
 public:
  struct Times {
    double chunk_seconds, record_seconds, checkpoint_seconds;
    int64_t most_bytes_of_person = 0;  ///< on the disk, beyond which runs are held; 0 for no limit
  };
  /// @param on_change told, on any thread, that a study has changed in the store. @param wake called on any thread
  /// where there may be something to do: beds are laid out, or a run has been stored that ended or waits again.
  Deck(store::Store& store, kernels::Device& device, Recorder& recorder, Times times,
       std::function<void(int64_t study)> on_change, std::function<void()> wake)
      : store_(store),
        device_(device),
        recorder_(recorder),
        times_(times),
        on_change_(std::move(on_change)),
        wake_(std::move(wake)) {}

  /// All batches with runs that are not at their end, those that are being laid out among them.
  const std::vector<std::unique_ptr<Boarded>>& boarded() const { return boarded_; }
  /// The batch and place of a run that is under way; null where it is in no batch.
  std::pair<Boarded*, size_t> Find(int64_t study, int64_t number) const;

  /// Whether the next run of a study is to be on the device with nothing beside it: memory ran short with less.
  bool NeedsAll(int64_t study) const;
  /// What the first waiting run of a study needs else, in bytes of device memory and in beads.
  absl::StatusOr<std::pair<int64_t, int64_t>> NeedOf(int64_t study);

  /// Begins to lay out runs of a study that wait; fewer where memory ran short with so many.
  void Start(const store::WaitingStudy& waiting, int most_runs, const Room& room);
  /// Brings the batches onto the device that are laid out.
  void BoardWhatIsReady();

  /// Takes one chunk.
  void Step(Boarded& on, RateMeter& rate);
  /// Ends the runs of studies that were cancelled.
  void CancelWhatIsCancelled();
  /// Has written down what is due, unless the recorder is behind.
  void RecordWhatIsDue(Boarded& on);
  /// Takes the runs of an owner who has too many bytes on the disk off the device, PAUSED, and says why.
  void HoldWhatIsOverQuota(Boarded& on);
  /// Whether that has been put off for so long that the batch is to wait for it.
  bool IsOverdue(const Boarded& on) const;
  /// Has written down what a batch did. @param checkpoint with states to go on from.
  void Record(Boarded& on, bool checkpoint);
  /// Waits until the store knows what is written down of the end of a run, or of any of the study where number is 0:
  /// then what it says of the run is true.
  void WaitForEnd(int64_t study, int64_t number);
  /// Takes all runs of a batch off the device; they wait, and go on later from where they are.
  void Leave(Boarded& on);
  /// Gives up batches without runs that are not at their end.
  void DropDone();

  int64_t bytes() const;
  /// Tells that a study has changed in the store.
  void Changed(int64_t study) { on_change_(study); }

 private:
  bool Board(Boarded& on);
  /// Has something written down, and waits until it is. False where the server stops.
  bool Write(Recorder::Write write);
  /// Why runs of a person are to be held; empty where they are not.
  std::string WhyHeld(const std::string& person);
  /// Holds runs that wait.
  void Hold(const store::QueuedRuns& queued, const std::string& why);
  /// Memory ran short: the runs go back to their last checkpoints, and are to start again with fewer of them at a time;
  /// a single one with nothing beside it; and one that had nothing beside it fails.
  void RunShort(Boarded& on);
  int64_t BytesOf(const Boarded& on) const;
  bool CheckpointIsDue(const Boarded& on) const;
  /// Hands writes to the recorder. @param ended numbers of the runs that end by them, or wait again.
  void Hand(int64_t study, std::vector<Recorder::Write> writes, const std::vector<int64_t>& ended);

  /// How the runs of a study fit into memory.
  struct Fit {
    int most_runs;  ///< together
    bool alone;     ///< with nothing beside them
  };

  /// An end that was handed to the recorder.
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
  std::vector<End> ends_;  ///< those that the recorder may still have to write
  std::vector<std::unique_ptr<Boarded>> boarded_;
  std::map<int64_t, Fit> fits_;  ///< by study: of those with which memory ran short since the server started
};

}  // namespace gyrebox::executor
