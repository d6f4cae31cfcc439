/// Rate limit.
#pragma once

#include <algorithm>
#include <chrono>

namespace gyrebox::access {

/// A bucket that holds up to `size` tokens and gains `rate` per second; each event takes one.
class TokenBucket {
 public:
  using Clock = std::chrono::steady_clock;

  TokenBucket(double rate, double size, Clock::time_point now) : rate_(rate), size_(size), held_(size), filled_(now) {}

  /// Takes a token and returns 0; if there is none, returns the seconds until there will be one.
  double Take(Clock::time_point now) {
    held_ = std::min(size_, held_ + rate_ * std::chrono::duration<double>(now - filled_).count());
    filled_ = now;
    if (held_ < 1) return (1 - held_) / rate_;
    held_ -= 1;
    return 0;
  }

 private:
  const double rate_, size_;
  double held_;
  Clock::time_point filled_;
};

}  // namespace gyrebox::access
