/// First-come, first-served mutex.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <mutex>

namespace gyrebox::store {

/// std::mutex may repeatedly go to the thread that has just released it, so a thread that writes in a loop could starve
/// the others. Here a thread waits only for earlier requests.
class FairMutex {
 public:
  void lock() {
    std::unique_lock lock(mutex_);
    const uint64_t mine = asked_++;
    changed_.wait(lock, [&] { return served_ == mine; });
  }
  void unlock() {
    std::lock_guard lock(mutex_);
    ++served_;
    changed_.notify_all();
  }

  /// Number of lock requests; for tests.
  uint64_t asked() {
    std::lock_guard lock(mutex_);
    return asked_;
  }

 private:
  std::mutex mutex_;
  std::condition_variable changed_;
  uint64_t asked_ = 0, served_ = 0;  ///< guarded by mutex_
};

}  // namespace gyrebox::store
