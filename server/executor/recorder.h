/// Writes results to the store while the device computes the next chunk.
#pragma once

#include <absl/status/status.h>

#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace gyrebox::executor {

/// A thread that executes writes in the order of posting and retries each until the store accepts it. At most one task
/// is in progress and one waits; a third Post() blocks.
class Recorder {
 public:
  using Ticket = int64_t;  ///< number of a task, from 1
  using Write = std::function<absl::Status()>;
  /// Receives the result of a task, on the recorder's thread; must not block.
  using Then = std::function<void(const absl::Status&)>;

  /// Both are called on the recorder's thread and must not block. @param on_refusal called with the reason after every
  /// refused attempt. @param on_room called once no task waits.
  Recorder(std::function<void(const absl::Status&)> on_refusal, std::function<void()> on_room);
  ~Recorder() { Close(); }

  /// Each write is its own transaction; other writers may come in between.
  Ticket Post(std::vector<Write> writes, Then then = nullptr);
  /// Whether a task waits. The thread is then behind, and the next Post() may block.
  bool behind() const;
  bool IsDone(Ticket ticket) const;
  /// Waits until a task and all before it are done.
  void WaitFor(Ticket ticket);
  void WaitForAll();
  /// Waits while writes are refused, since work must not continue then. Returns at once after StopRetrying().
  void WaitWhileRefused();
  /// Why the last attempt was refused; empty if it succeeded.
  std::string trouble() const;

  /// From now on each write is attempted once. After a refusal no further write is made, so that no series has a gap.
  void StopRetrying();
  /// Executes the posted writes without retries, then ends the thread.
  void Close();

 private:
  struct Task {
    std::vector<Write> writes;
    Then then;
  };
  void Loop();
  absl::Status Do(const Task& task);
  absl::Status Persist(const Write& write);

  const std::function<void(const absl::Status&)> on_refusal_;
  const std::function<void()> on_room_;
  mutable std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Task> waiting_;      ///< guarded by mutex_
  Ticket posted_ = 0, done_ = 0;  ///< guarded by mutex_
  bool stop_retrying_ = false;    ///< guarded by mutex_
  bool closed_ = false;           ///< guarded by mutex_
  std::string trouble_;           ///< guarded by mutex_
  absl::Status given_up_;         ///< used by the thread only; why nothing more is written, once that is so
  std::thread thread_;
};

}  // namespace gyrebox::executor
