/// Owns the device: gives slices of its time to runs in the order that the queue says, and does what people ask of
/// them.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <cstdlib>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "executor/deck.h"
#include "executor/live_frames.h"
#include "executor/mailbox.h"
#include "executor/rate_meter.h"
#include "executor/recorder.h"
#include "executor/steering.h"
#include "gyrebox/device.h"
#include "queue/choose.h"
#include "queue/ledger.h"
#include "store/store.h"

namespace gyrebox::executor {

/// Exit code of a process whose device is lost: whoever watches over it starts it again.
inline constexpr int kDeviceLostExit = 7;

/// Seconds by a clock that nobody sets, from any fixed moment.
double SteadySeconds();
/// Seconds since 1970.
double WallSeconds();

struct Options {
  int most_runs_together = 256;
  double chunk_seconds = 0.05;       ///< wall time of a chunk; whatever is asked waits for its end
  double record_seconds = 0.2;       ///< wall time between two records of an ensemble
  double checkpoint_seconds = 30;    ///< wall time between two checkpoints of an ensemble: the most that is ever lost
  double slice_seconds = 0.5;        ///< wall time after which it may be another ensemble's turn
  double half_life_seconds = 3600;   ///< after which use of the device counts half
  int64_t most_beads_of_person = 0;  ///< on the device; 0 for no limit
  double swap_seconds = 5;           ///< see queue::Limits
  int64_t most_bytes_of_person = 0;  ///< on the disk; 0 for no limit. Runs of who has more are held
  /// Seconds by a clock that nobody sets, which shares fade by, and since 1970, which bridges the time between two
  /// processes.
  std::function<double()> steady_seconds = SteadySeconds, wall_seconds = WallSeconds;
  std::function<void(int)> leave = [](int code) { std::_Exit(code); };  ///< ends the process
};

/// Options that suit a device: a CPU is full with a few beds a thread, and more would only delay the first answer.
Options OptionsFor(const kernels::Device& device);

/// What the device is doing, for people.
struct View {
  struct Entry {
    int64_t study = 0;
    std::string person;
    int priority = 0;
    int count = 0;  ///< runs
    int64_t beads = 0;
    bool has_slice = false;
  };
  std::vector<Entry> on_device;
  int64_t bytes = 0;                   ///< of device memory
  std::map<std::string, double> used;  ///< seconds that count, by person
  bool draining = false;
  std::string trouble;  ///< why nothing goes on; empty where all is well
};

class Executor {
 public:
  /// @param on_change called after every commit that changed a study, on a thread of the executor's; must not block.
  Executor(store::Store& store, kernels::Device& device, Options options, std::function<void(int64_t study)> on_change);
  ~Executor();

  /// Starts the thread that works.
  void Start();

  /// Looks for waiting runs now.
  void Wake();

  /// Stops at the end of the chunk under way. Runs are saved, and go on when the store is opened next.
  void Stop();

  // What is asked of runs is done between two chunks. `done` is called on a thread of the executor's, once, and must
  // not block.

  /// Reads what it takes on the thread of the caller, which may be called back there where nothing is to be done.
  void Steer(SteerRequest request, std::function<void(Steered)> done);
  void Save(int64_t study, int64_t number, std::function<void(absl::StatusOr<v1::SavedState>)> done,
            const store::Request& once = {});
  /// Writes on the thread of the caller. @param number of a run; 0 for all of the study.
  void Prioritize(int64_t study, int64_t number, int priority, std::function<void(absl::StatusOr<int>)> done);
  /// The newest frame of a run under way; null where it is not on the device.
  void Look(int64_t study, int64_t number,
            std::function<void(absl::StatusOr<std::shared_ptr<const store::Frame>>)> done);
  /// Empties the device, or lets it work again.
  void Drain(bool drain, std::function<void(absl::Status)> done);

  const RateMeter& rate() const { return rate_; }
  View view() const;

 private:
  void Loop();
  void LeaveProcess(const kernels::DeviceLost& error);
  /// Gives one slice to whose turn it is. False where there is nothing to do.
  bool Slice();
  void GiveSlice(Boarded& on);
  std::vector<queue::Work> AllWork();
  void LookAtQueue();
  void MakeRoomAndStart(const store::WaitingStudy& waiting, const std::vector<size_t>& leave);
  void SaveAll();
  void Charge(const std::string& person, double seconds);
  void ReadUse();
  void WriteUse();
  void Publish(const Boarded* has_slice);
  void Post(std::function<void()> open, std::function<void(const absl::Status&)> refuse);
  /// Opens letters, and does a slice of what takes several.
  void OpenLetters();
  struct Steering {
    std::shared_ptr<SteerJob> job;
    std::function<void(Steered)> done;
  };
  void GoOn(const Steering& steering);
  void Wait();
  /// Waits until the recorder is not behind, and opens letters meanwhile.
  void WaitForRoom();
  void Rest(double seconds);
  bool stopping() const;

  store::Store& store_;
  kernels::Device& device_;
  const Options options_;
  RateMeter rate_;
  Mailbox mailbox_;
  Recorder recorder_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  CourseBook courses_;
  bool stop_ = false;  ///< guarded by mutex_
  bool awake_ = true;  ///< guarded by mutex_; something may wait
  View view_;          ///< guarded by mutex_

  // Used by the thread alone.
  Deck deck_;
  LiveFrames live_frames_;
  queue::Ledger ledger_;
  std::vector<store::WaitingStudy> waiting_;
  std::map<int64_t, std::pair<int64_t, int64_t>> needs_;  ///< of the first waiting run, by study: bytes, beads
  std::deque<Steering> steering_;                         ///< those with slices left
  bool draining_ = false;
  double use_written_ = 0;  ///< steady seconds

  std::thread thread_;
};

}  // namespace gyrebox::executor
