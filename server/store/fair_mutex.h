/// A mutex that is taken in the order in which it was asked for.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <mutex>

namespace gyrebox::store {

/// std::mutex may go again and again to the thread that has just given it back: whoever stores much in a loop would
/// keep others out for any length of time. Here each waits for those only that asked before.
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

  /// How often it was asked for: for tests.
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
