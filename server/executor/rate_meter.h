/// How much work the device does in a second.
#pragma once

#include <chrono>
#include <deque>
#include <mutex>

namespace gyrebox::executor {

/// Thread-safe.
class RateMeter {
 public:
  using Clock = std::chrono::steady_clock;

  /// Counts work done between two moments.
  void Add(double bead_steps, Clock::time_point begin, Clock::time_point end);

  /// Bead-steps per second over the last seconds before now; 0 when idle.
  double Recent(Clock::time_point now) const;

  /// Share of the last seconds before now that was spent on work, 0 to 1.
  double Load(Clock::time_point now) const;

  /// Bead-steps per second over all work that is still remembered, idle time left out; 0 where there was none yet.
  double Reached() const;

 private:
  struct Piece {
    double bead_steps;
    Clock::time_point begin, end;
  };
  mutable std::mutex mutex_;
  std::deque<Piece> pieces_;  ///< the last ones, oldest first
};

}  // namespace gyrebox::executor
