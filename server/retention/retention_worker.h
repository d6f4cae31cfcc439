/// Deletes studies by the retention rules of the machine, after a warning, and erases what users deleted.
#pragma once

#include <absl/status/status.h>

#include <condition_variable>
#include <cstdint>
#include <functional>
#include <mutex>
#include <thread>

#include "retention/rules.h"
#include "store/store.h"

namespace gyrebox::retention {

/// Works on its own thread, in short transactions with pauses in between, so that the device never waits long.
///
/// The deletion time is not read from the clock: a study is deleted once its warning has stood for warn_days of server
/// uptime, summed over all starts of the server. The clock only gives the age of a study and the displayed times. A
/// wrong clock may raise warnings too early, but causes early deletion only if it stays wrong for the whole warning
/// period; the first check with a correct clock withdraws the warning.
class RetentionWorker {
 public:
  /// @param on_change called with each study whose warning was raised or withdrawn, or that was deleted.
  RetentionWorker(store::Store& store, const Rules& rules, std::function<void(int64_t study)> on_change);
  ~RetentionWorker() { Stop(); }

  void Start();
  /// Wakes the thread to erase deleted studies soon.
  void Wake();
  void Stop();

  /// Warns and deletes once, as the thread does every 10 minutes.
  /// @param now milliseconds since 1970. @param seconds_run server uptime since the last call.
  absl::Status Look(int64_t now, double seconds_run);

 private:
  void Loop();
  void EraseAll();
  /// Expected deletion time of a study, in milliseconds since 1970.
  int64_t DeleteTime(const store::Deletable& study, int64_t now, double seconds_run) const;
  /// Logs new and withdrawn warnings.
  void Tell(const store::DeletableStudies& there, const std::vector<store::Warning>& warnings);
  void DeleteWhatIsDue(const std::vector<Due>& due, double seconds_run);
  bool stopping();

  store::Store& store_;
  const Rules rules_;
  const std::function<void(int64_t)> on_change_;
  std::mutex mutex_;
  std::condition_variable changed_;
  bool stop_ = false;   ///< guarded by mutex_
  bool awake_ = false;  ///< guarded by mutex_
  std::thread thread_;
};

}  // namespace gyrebox::retention
