/// Deletes studies by the rules of the box, after a warning, and erases what people deleted.
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

/// Works on a thread of its own, in short transactions with rests between them, so that the device never waits long.
///
/// When a study goes is counted and not read from the clock: once its warning has stood, over all starts of the server,
/// for warn_days of the time that the server ran. The clock only says how old a study is, and is shown. Where it is set
/// wrong, studies may be warned of too early; they are deleted too early only where it stays wrong for all that time,
/// and with the first look at a clock that is right again the warning goes.
class Keeper {
 public:
  /// @param on_change called with each study that was warned of, is not to go any more, or was deleted.
  Keeper(store::Store& store, const Rules& rules, std::function<void(int64_t study)> on_change);
  ~Keeper() { Stop(); }

  void Start();
  /// Erases what was deleted, soon.
  void Wake();
  void Stop();

  /// Warns and deletes once, as the thread does every few minutes.
  /// @param now milliseconds since 1970. @param seconds_run for how long the server has run since the last look.
  absl::Status Look(int64_t now, double seconds_run);

 private:
  void Loop();
  void EraseAll();
  /// The moment that a study is told to go, as far as that is known now.
  int64_t DeleteTime(const store::Deletable& study, int64_t now, double seconds_run) const;
  /// Logs warnings that are new, and those that are taken back.
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
