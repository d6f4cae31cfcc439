/// How far a study is, on one line, and under it what it answers so far.
#pragma once

#include <chrono>
#include <span>
#include <string>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// Shows progress on the error stream: redrawn in place on a terminal, else a plain line every few seconds.
class Progress {
 public:
  Progress();

  bool on_terminal() const { return terminal_; }

  /// @param below what stands under it on a terminal, a paragraph each.
  void Show(const v1::Study& study, std::span<const std::string> below);

  /// A line of its own.
  void Note(const std::string& text);

  /// Ends with a line that says how the study ended; what stood below goes.
  void End(const v1::Study& study);

 private:
  using Clock = std::chrono::steady_clock;

  const bool terminal_;
  Clock::time_point shown_;  ///< when a plain line was written last
};

}  // namespace gyrebox::client
