/// The queue of a server: whose turn it is, by past device use.
#pragma once

#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <vector>

#include "queue/choose.h"
#include "queue/ledger.h"
#include "store/store.h"

namespace gyrebox::queue {

/// Monotonic clock, in seconds from an arbitrary origin.
double SteadySeconds();
/// Seconds since 1970.
double WallSeconds();

/// Monotonic seconds, by which past use decays, and seconds since 1970, which bridge the time between two processes.
struct Clocks {
  std::function<double()> steady_seconds = SteadySeconds, wall_seconds = WallSeconds;
};

/// Charges users for the device and chooses the next work. One queue serves the executors of any number of devices.
/// Thread-safe.
class Queue {
 public:
  /// Reads past use from the store. @param half_life seconds after which past device use counts half.
  explicit Queue(store::Store& store, double half_life = 3600, Clocks clocks = {});

  /// What a device does in its next slice: see queue::Choose. @param work on this device, or waiting.
  Choice Next(const std::vector<Work>& work, const Limits& limits) const;

  /// Adds device seconds that end now.
  void Charge(const std::string& user, double seconds);

  /// Device seconds after decay, by user.
  std::map<std::string, double> Used() const;

  /// Stores past use for the next process, if it was not stored within the last `period` seconds.
  void WriteUse(double period = 0);

 private:
  std::map<std::string, double> UsedLocked(double now) const;
  void ReadUse();

  store::Store& store_;
  const Clocks clocks_;
  mutable std::mutex mutex_;  ///< guards all below
  Ledger ledger_;
  double written_ = 0;  ///< monotonic seconds
};

}  // namespace gyrebox::queue
