/// Progress of a study on one line, with its answers so far below.
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

  /// @param runs lines on running runs, to show under it. @param below paragraphs to show under these on a terminal.
  void Show(const v1::Study& study, std::span<const std::string> runs, std::span<const std::string> below);

  /// Prints a separate line.
  void Note(const std::string& text);

  /// Prints a final line with the run counts, and clears what was below.
  void End(const v1::Study& study);

 private:
  using Clock = std::chrono::steady_clock;

  const bool terminal_;
  Clock::time_point shown_;  ///< time of the last plain line
};

}  // namespace gyrebox::client
