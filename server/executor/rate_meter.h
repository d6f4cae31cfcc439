/// Throughput of the device.
#pragma once

#include <chrono>
#include <deque>
#include <mutex>

namespace gyrebox::executor {

/// Thread-safe.
class RateMeter {
 public:
  using Clock = std::chrono::steady_clock;

  /// Adds the work done between two times.
  void Add(double bead_steps, Clock::time_point begin, Clock::time_point end);

  /// Bead-steps per second over the last 5 s; 0 when idle.
  double Recent(Clock::time_point now) const;

  /// Fraction of the last 5 s spent on work, 0 to 1.
  double Load(Clock::time_point now) const;

  /// Bead-steps per second of busy time, over all remembered work; 0 before any work.
  double Reached() const;

 private:
  struct Piece {
    double bead_steps;
    Clock::time_point begin, end;
  };
  mutable std::mutex mutex_;
  std::deque<Piece> pieces_;  ///< the most recent, oldest first
};

}  // namespace gyrebox::executor
