/// How far a study is, on one line.
#pragma once

#include <chrono>
#include <string>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// Shows progress on the error stream: redrawn in place on a terminal, else a plain line every few seconds.
class Progress {
 public:
  Progress();

  void Show(const v1::Study& study);

  /// A line of its own.
  void Note(const std::string& text);

  /// Ends with a line that says how the study ended.
  void End(const v1::Study& study);

 private:
  using Clock = std::chrono::steady_clock;

  const bool terminal_;
  Clock::time_point shown_;  ///< when a plain line was written last
};

}  // namespace gyrebox::client
