/// Sizes and drives of running runs, while a study is followed.
#pragma once

#include <chrono>
#include <string>
#include <vector>

#include "lib/client.h"

namespace gyrebox::client {

/// "run 3: 41.2 beads at 12 tau, drive 20 rad/tau at 1 cycles/tau".
std::string LiveText(const v1::RunRow& row, const v1::Observable& observable);

/// The first running runs of a study, requested every few seconds.
class LiveRuns {
 public:
  explicit LiveRuns(Client& client) : client_(client) {}

  /// Requests them again if some time has passed.
  void Follow(const v1::Study& study);

  /// One line per run; empty if none runs.
  const std::vector<std::string>& lines() const { return lines_; }

 private:
  using Clock = std::chrono::steady_clock;

  Client& client_;
  std::vector<std::string> lines_;
  Clock::time_point next_{};  ///< earliest time of the next request
};

}  // namespace gyrebox::client
