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

/// Shares its threads out by person in turn; the work of one person is done in the order in which it came. Where there
/// are several threads, one person never has all of them. Thread-safe.
class WorkerPool {
 public:
  /// @param calls_of_person that are under way or wait, of one person; 0 for no bound.
  /// @param begin what each thread does first.
  explicit WorkerPool(int threads, int calls_of_person = 0, void (*begin)() = nullptr);
  ~WorkerPool() { Stop(); }

  /// The place of a call among those of its person, given back when the last copy goes: it may outlive the work, where
  /// another thread goes on with it.
  using Place = std::shared_ptr<const void>;
  /// RESOURCE_EXHAUSTED, with when to try again, where the person has as many calls as are allowed.
  absl::StatusOr<Place> Take(const std::string& person);

  /// Hands work to a thread. False where too much waits already, or after Stop().
  bool Post(const std::string& person, std::function<void()> work);
  /// The same for what the server itself has to do.
  bool Post(std::function<void()> work) { return Post("", std::move(work)); }

  /// Does all work that waits, then ends the threads.
  void Stop();

 private:
  struct Person {
    std::deque<std::function<void()>> waiting;
    int at_work = 0;  ///< threads
  };
  void Loop();
  /// The next whose turn it is, and who may have one more thread; the end where there is none.
  std::map<std::string, Person>::iterator Next();

  const int most_threads_;  ///< of one person
  const int calls_of_person_;
  std::mutex mutex_;
  std::condition_variable changed_;
  std::map<std::string, Person> people_;  ///< those with work; guarded by mutex_
  std::string last_;                      ///< whose turn it was; guarded by mutex_
  size_t waiting_ = 0;                    ///< of all; guarded by mutex_
  bool stop_ = false;                     ///< guarded by mutex_
  std::vector<std::thread> threads_;

  /// Calls by person. Places may outlive the pool.
  struct Calls {
    std::mutex mutex;
    std::map<std::string, int> of;  ///< guarded by mutex
  };
  const std::shared_ptr<Calls> calls_ = std::make_shared<Calls>();
};

}  // namespace gyrebox::api
