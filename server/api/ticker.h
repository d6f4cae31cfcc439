/// Does work periodically.
#pragma once

#include <chrono>
#include <condition_variable>
#include <functional>
#include <mutex>
#include <thread>

namespace gyrebox::api {

/// Works on a thread of its own, from Start() to Stop().
class Ticker {
 public:
  Ticker(std::chrono::milliseconds period, std::function<void()> work) : period_(period), work_(std::move(work)) {}
  ~Ticker() { Stop(); }

  void Start() {
    thread_ = std::thread([this] { Loop(); });
  }
  /// Waits for work in progress.
  void Stop() {
    {
      std::lock_guard lock(mutex_);
      stop_ = true;
    }
    changed_.notify_all();
    if (thread_.joinable()) thread_.join();
  }

 private:
  void Loop() {
    std::unique_lock lock(mutex_);
    while (!stop_) {
      lock.unlock();
      work_();
      lock.lock();
      changed_.wait_for(lock, period_, [this] { return stop_; });
    }
  }

  const std::chrono::milliseconds period_;
  const std::function<void()> work_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool stop_ = false;  ///< guarded by mutex_
  std::thread thread_;
};

}  // namespace gyrebox::api
