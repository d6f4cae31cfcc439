/// Owns the device: takes waiting runs, steps them together, and writes down what they do.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <cstdlib>
#include <functional>
#include <mutex>
#include <thread>

#include "executor/rate_meter.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

class Batch;

/// Exit code of a process whose device is lost: whoever watches over it starts it again.
inline constexpr int kDeviceLostExit = 7;

struct Options {
  int most_runs_together = 256;
  double chunk_seconds = 0.05;  ///< wall time of a chunk; cancelling and stopping wait for its end
  double record_seconds = 0.2;  ///< wall time between two records of an ensemble
  std::function<void(int)> leave = [](int code) { std::_Exit(code); };  ///< ends the process
};

/// Options that suit a device: a CPU is full with a few beds a thread, and more would only delay the first answer.
Options OptionsFor(const kernels::Device& device);

class Executor {
 public:
  /// @param on_change called after every commit that changed a study, on the executor's thread; must not block.
  Executor(store::Store& store, kernels::Device& device, Options options, std::function<void(int64_t study)> on_change);
  ~Executor();

  /// Starts the thread that works.
  void Start();

  /// Looks for waiting runs now.
  void Wake();

  /// Stops at the end of the chunk under way. Runs cut off start again when the store is opened next.
  void Stop();

  const RateMeter& rate() const { return rate_; }

 private:
  void Loop();
  void LeaveProcess(const kernels::DeviceLost& error);
  /// Runs the next ensemble to its end. False where nothing waits.
  bool RunNext();
  /// Lays the beds of a batch out. False where stopped.
  bool Begin(Batch& batch);
  /// Writes down what a batch did. False where stopped.
  bool Record(Batch& batch);
  /// Tries a write until it succeeds: a full disk stops the work, it does not lose it. False where stopped.
  bool Persist(const std::function<absl::Status()>& write);
  void Rest(double seconds);
  bool stopping() const;

  store::Store& store_;
  kernels::Device& device_;
  const Options options_;
  const std::function<void(int64_t)> on_change_;
  RateMeter rate_;

  mutable std::mutex mutex_;
  std::condition_variable changed_;
  bool stop_ = false;   ///< guarded by mutex_
  bool awake_ = false;  ///< guarded by mutex_; something may wait
  std::thread thread_;
};

}  // namespace gyrebox::executor
