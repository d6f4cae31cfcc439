/// Owns the device: gives time slices to runs in queue order and executes user commands on them.
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

#include "executor/batch_manager.h"
#include "executor/command_queue.h"
#include "executor/live_frames.h"
#include "executor/rate_meter.h"
#include "executor/recorder.h"
#include "executor/save_run.h"
#include "executor/steer_job.h"
#include "gyrebox/device.h"
#include "queue/queue.h"
#include "store/store.h"

namespace gyrebox::executor {

/// Exit code of a process that lost its device; its supervisor restarts it.
inline constexpr int kDeviceLostExit = 7;

struct Options {
  int max_runs_together = 256;
  double chunk_seconds = 0.05;     ///< wall time of a chunk; commands wait for its end
  double record_seconds = 0.2;     ///< wall time between two records of an ensemble
  double checkpoint_seconds = 30;  ///< wall time between two checkpoints of an ensemble: the maximum loss
  double slice_seconds = 0.5;      ///< wall time after which another ensemble may take over
  int64_t max_beads_per_user = 0;  ///< on the device; 0 for no limit
  double preemption_margin = 5;    ///< see queue::Limits
  int64_t max_bytes_per_user = 0;  ///< on disk, beyond which a user's runs are held; 0 for no limit
  std::function<void(int)> leave = [](int code) { std::_Exit(code); };  ///< ends the process
};

/// Options for a device. A few beds per thread saturate a CPU; more would only delay the first results.
Options OptionsFor(const kernels::Device& device);

/// Current work of the device, as shown to users.
struct View {
  struct Entry {
    int64_t study = 0;
    std::string user;
    int priority = 0;
    int count = 0;  ///< runs
    int64_t beads = 0;
    bool has_slice = false;
  };
  std::vector<Entry> on_device;
  int64_t bytes = 0;                   ///< of device memory
  std::map<std::string, double> used;  ///< device seconds after decay, by user
  bool draining = false;
  std::string trouble;  ///< why work has stopped; empty if it has not
};

class Executor {
 public:
  /// @param queue may serve the executors of other devices too.
  /// @param on_change called after every commit that changed a study, on one of the executor's threads; must not block.
  Executor(store::Store& store, kernels::Device& device, queue::Queue& queue, Options options,
           std::function<void(int64_t study)> on_change);
  ~Executor();

  /// Starts the executor's thread.
  void Start();

  /// Looks for waiting runs now.
  void Wake();

  /// Stops at the end of the current chunk. Runs are saved and resume when the store is next opened.
  void Stop();

  // Commands execute between two chunks. `done` is called once, on one of the executor's threads, and must not block.

  /// Reads its input on the caller's thread. If there is nothing to do, it also calls `done` on that thread.
  void Steer(SteerRequest request, std::function<void(Steered)> done);
  void Save(int64_t study, int64_t number, std::function<void(absl::StatusOr<v1::SavedState>)> done,
            const store::Request& once = {});
  /// Writes on the caller's thread. @param number of a run; 0 for all runs of the study.
  void Prioritize(int64_t study, int64_t number, int priority, std::function<void(absl::StatusOr<int>)> done);
  /// The study's use of the device counts as that of a new owner from now on.
  void Give(int64_t study, const std::string& owner);
  /// The newest frame of a run; null if it is not on the device.
  void Look(int64_t study, int64_t number,
            std::function<void(absl::StatusOr<std::shared_ptr<const store::Frame>>)> done);
  /// Evicts all runs and starts no others, or resumes work.
  void Drain(bool drain, std::function<void(absl::Status)> done);

  const RateMeter& rate() const { return rate_; }
  View view() const;

 private:
  void Loop();
  void LeaveProcess(const kernels::DeviceLost& error);
  /// Steps or starts the work whose turn it is. False if there is nothing to do.
  bool Slice();
  void GiveSlice(ActiveBatch& on);
  std::vector<queue::Work> AllWork();
  void LookAtQueue();
  void MakeRoomAndStart(const store::WaitingStudy& waiting, const std::vector<size_t>& leave);
  void SaveAll();
  void Publish(const ActiveBatch* has_slice);
  void Post(std::function<void()> open, std::function<void(const absl::Status&)> refuse);
  /// Executes commands and one slice of a steering job that needs several.
  void ReadCommands();
  struct Steering {
    std::shared_ptr<SteerJob> job;
    std::function<void(Steered)> done;
  };
  void GoOn(const Steering& steering);
  void Wait();
  /// Waits until the recorder is not behind; executes commands meanwhile.
  void WaitForRoom();
  void Rest(double seconds);
  bool stopping() const;

  store::Store& store_;
  kernels::Device& device_;
  queue::Queue& queue_;
  const Options options_;
  RateMeter rate_;
  CommandQueue commands_;
  Recorder recorder_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  CourseBook courses_;
  bool stop_ = false;  ///< guarded by mutex_
  bool awake_ = true;  ///< guarded by mutex_; the queue may have changed
  View view_;          ///< guarded by mutex_

  // Used by the executor's thread only.
  BatchManager batches_;
  LiveFrames live_frames_;
  std::vector<store::WaitingStudy> waiting_;
  std::map<int64_t, std::pair<int64_t, int64_t>> demands_;  ///< bytes and beads of the first waiting run, by study
  std::deque<Steering> steering_;                           ///< jobs with slices left
  bool draining_ = false;

  std::thread thread_;
};

}  // namespace gyrebox::executor
