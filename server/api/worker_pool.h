/// Threads that answer calls, so that no gRPC thread ever waits for the store.
#pragma once

#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

namespace gyrebox::api {

class WorkerPool {
 public:
  explicit WorkerPool(int threads);
  ~WorkerPool() { Stop(); }

  /// Hands work to a thread. False where too much waits already, or after Stop().
  bool Post(std::function<void()> work);

  /// Does all work that waits, then ends the threads.
  void Stop();

 private:
  void Loop();

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::function<void()>> waiting_;  ///< guarded by mutex_
  bool stop_ = false;                          ///< guarded by mutex_
  std::vector<std::thread> threads_;
};

}  // namespace gyrebox::api
