/// Threads that answer calls, so that no gRPC thread ever waits for the store.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <condition_variable>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

namespace gyrebox::api {

/// Serves users in turn, and starts the work of one user in the order in which it came. If there are several threads,
/// one user never has all of them. Thread-safe.
class WorkerPool {
 public:
  /// @param calls_of_user max calls of one user that are in progress or waiting; 0 for no bound.
  /// @param begin what each thread does first.
  explicit WorkerPool(int threads, int calls_of_user = 0, void (*begin)() = nullptr);
  ~WorkerPool() { Stop(); }

  /// Slot of a call in the quota of its user, released with the last copy. It may outlive the work, if another thread
  /// continues the call.
  using Slot = std::shared_ptr<const void>;
  /// RESOURCE_EXHAUSTED, with the time to wait, if the user has as many calls as are allowed.
  absl::StatusOr<Slot> Take(const std::string& user);

  /// Hands work to a thread. False if too much work waits already, or after Stop().
  bool Post(const std::string& user, std::function<void()> work);
  /// The same for the server's own work.
  bool Post(std::function<void()> work) { return Post("", std::move(work)); }

  /// Finishes all waiting work, then ends the threads.
  void Stop();

 private:
  struct User {
    std::deque<std::function<void()>> waiting;
    int at_work = 0;  ///< threads that serve the user
  };
  void Loop();
  /// Next user in turn who may have one more thread; the end if there is none.
  std::map<std::string, User>::iterator Next();

  const int max_threads_;  ///< per user
  const int calls_of_user_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::map<std::string, User> users_;  ///< those with work; guarded by mutex_
  std::string last_;                   ///< user served last; guarded by mutex_
  size_t waiting_ = 0;                 ///< of all; guarded by mutex_
  bool stop_ = false;                  ///< guarded by mutex_
  std::vector<std::thread> threads_;

  /// Calls by user. Slots may outlive the pool.
  struct Calls {
    std::mutex mutex;
    std::map<std::string, int> of;  ///< guarded by mutex
  };
  const std::shared_ptr<Calls> calls_ = std::make_shared<Calls>();
};

}  // namespace gyrebox::api
