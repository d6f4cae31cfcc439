/// Commands from other threads to the executor's thread.
#pragma once

#include <absl/status/status.h>

#include <deque>
#include <functional>
#include <mutex>
#include <new>
#include <utility>

namespace gyrebox::executor {

/// First-in, first-out queue. Each command is either opened or refused, exactly once. Thread-safe.
class CommandQueue {
 public:
  struct Command {
    std::function<void()> open;
    std::function<void(const absl::Status&)> refuse;
  };

  /// Appends a command; refuses it at once if the queue is closed.
  void Post(Command command) {
    absl::Status closed;
    {
      std::lock_guard lock(mutex_);
      closed = closed_;
      if (closed.ok()) commands_.push_back(std::move(command));
    }
    if (!closed.ok()) command.refuse(closed);
  }

  bool empty() {
    std::lock_guard lock(mutex_);
    return commands_.empty();
  }

  void OpenAll() {
    for (const Command& command : Take()) {
      try {
        command.open();
      } catch (const std::bad_alloc&) {
        command.refuse(absl::ResourceExhaustedError("the memory of this machine ran out; try again later"));
      }
    }
  }

  void RefuseAll(const absl::Status& why) {
    for (const Command& command : Take()) command.refuse(why);
  }

  /// Refuses all queued and all future commands.
  void Close(const absl::Status& why) {
    {
      std::lock_guard lock(mutex_);
      closed_ = why;
    }
    RefuseAll(why);
  }

 private:
  std::deque<Command> Take() {
    std::lock_guard lock(mutex_);
    return std::exchange(commands_, {});
  }

  std::mutex mutex_;
  std::deque<Command> commands_;  ///< guarded by mutex_
  absl::Status closed_;           ///< guarded by mutex_; the reason, once closed
};

}  // namespace gyrebox::executor
