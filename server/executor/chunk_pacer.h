/// Number of steps per chunk.
#pragma once

#include <algorithm>
#include <cstdint>

namespace gyrebox::executor {

/// Chooses the number of steps of the next chunk so that it takes about the wanted time. Results do not depend on it.
class ChunkPacer {
 public:
  explicit ChunkPacer(double seconds_wanted) : seconds_wanted_(seconds_wanted) {}

  int64_t steps() const { return steps_; }

  /// Learns from the last chunk. The number of steps changes by at most a factor of 4, so one outlier does no harm.
  /// @param taken steps. A chunk that was cut short counts only if it still took too long.
  void Took(int64_t taken, double seconds) {
    if (taken < steps_ && seconds <= seconds_wanted_) return;
    const double factor = std::clamp(seconds_wanted_ / std::max(seconds, 1e-9), 0.25, 4.0);
    const double steps = static_cast<double>(taken) * factor;
    steps_ = static_cast<int64_t>(std::clamp(steps, 1.0, 1e9));
  }

 private:
  const double seconds_wanted_;
  int64_t steps_ = 1;  ///< starts at 1, as a step may take long
};

}  // namespace gyrebox::executor
