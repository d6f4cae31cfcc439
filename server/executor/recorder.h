/// Writes down what the device did while it goes on with the next chunk.
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

/// A thread that makes writes in the order in which they were posted, each again and again until it is taken. One task
/// is under way and one waits, at most: who posts a third waits.
class Recorder {
 public:
  using Ticket = int64_t;  ///< tasks are counted from 1
  using Write = std::function<absl::Status()>;
  /// Told how a task ended, on the recorder's thread; must not block.
  using Then = std::function<void(const absl::Status&)>;

  /// Both are called on the recorder's thread, and must not block. @param on_refusal with the reason, after every try
  /// that was refused. @param on_room once no task waits.
  Recorder(std::function<void(const absl::Status&)> on_refusal, std::function<void()> on_room);
  ~Recorder() { Close(); }

  /// Each write is a transaction of its own: others that write come in between.
  Ticket Post(std::vector<Write> writes, Then then = nullptr);
  /// Whether a task waits: the thread is behind, and the next Post() may wait.
  bool behind() const;
  bool IsDone(Ticket ticket) const;
  /// Waits until a task and all before it are done.
  void WaitFor(Ticket ticket);
  void WaitForAll();
  /// Waits while writes are refused, unless in a hurry: nothing is to go on then.
  void WaitWhileRefused();
  /// Why the last try was refused; empty where it was not.
  std::string trouble() const;

  /// From now on a write is tried once. After one that is refused none is made: no series gets a hole.
  void Hurry();
  /// Makes what was posted, in a hurry, and ends.
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
  bool hurry_ = false;            ///< guarded by mutex_
  bool closed_ = false;           ///< guarded by mutex_
  std::string trouble_;           ///< guarded by mutex_
  absl::Status given_up_;         ///< used by the thread alone: why nothing is written any more, where it is so
  std::thread thread_;
};

}  // namespace gyrebox::executor
