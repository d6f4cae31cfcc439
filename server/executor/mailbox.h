/// What other threads ask of the executor's thread.
#pragma once

#include <absl/status/status.h>

#include <deque>
#include <functional>
#include <mutex>
#include <new>
#include <utility>

namespace gyrebox::executor {

/// Letters in the order in which they came. Each is opened or refused, once. Thread-safe.
class Mailbox {
 public:
  struct Letter {
    std::function<void()> open;
    std::function<void(const absl::Status&)> refuse;
  };

  /// Refuses at once where the box is closed.
  void Post(Letter letter) {
    absl::Status closed;
    {
      std::lock_guard lock(mutex_);
      closed = closed_;
      if (closed.ok()) letters_.push_back(std::move(letter));
    }
    if (!closed.ok()) letter.refuse(closed);
  }

  bool empty() {
    std::lock_guard lock(mutex_);
    return letters_.empty();
  }

  void OpenAll() {
    for (const Letter& letter : Take()) {
      try {
        letter.open();
      } catch (const std::bad_alloc&) {
        letter.refuse(absl::ResourceExhaustedError("the memory of this machine ran out; try again later"));
      }
    }
  }

  void RefuseAll(const absl::Status& why) {
    for (const Letter& letter : Take()) letter.refuse(why);
  }

  /// Refuses all there is and all that comes.
  void Close(const absl::Status& why) {
    {
      std::lock_guard lock(mutex_);
      closed_ = why;
    }
    RefuseAll(why);
  }

 private:
  std::deque<Letter> Take() {
    std::lock_guard lock(mutex_);
    return std::exchange(letters_, {});
  }

  std::mutex mutex_;
  std::deque<Letter> letters_;  ///< guarded by mutex_
  absl::Status closed_;         ///< guarded by mutex_; why, where it is
};

}  // namespace gyrebox::executor
