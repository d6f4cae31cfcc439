#include "cli/progress.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <cmath>
#include <iostream>

#include "cli/text.h"

namespace gyrebox::client {

constexpr int kBarWidth = 30;
constexpr std::chrono::seconds kBetweenLines{3};

Progress::Progress() : terminal_(isatty(STDERR_FILENO) == 1), shown_(Clock::now() - kBetweenLines) {}

static std::string Percent(const v1::Study& study) {
  return std::to_string(static_cast<int>(std::floor(100 * study.progress()))) + " %";
}

static std::string Words(const v1::Study& study) {
  std::string text = Percent(study) + "  " + CountsText(study.run_counts());
  if (study.has_remaining_seconds()) text += ", " + AboutText(study.remaining_seconds()) + " left";
  return text;
}

static std::string Bar(double share) {
  const int full = static_cast<int>(share * kBarWidth);
  return "[" + std::string(full, '#') + std::string(kBarWidth - full, '.') + "] ";
}

/// A line that does not wrap, as a wrapped line cannot be redrawn in place: without the bar, and cut, where it is long.
static std::string OneLine(const std::string& bar, const std::string& words) {
  winsize size{};
  const bool known = ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0;
  const size_t columns = known ? size.ws_col - 1 : 79;
  return bar.size() + words.size() <= columns ? bar + words : words.substr(0, columns);
}

void Progress::Show(const v1::Study& study) {
  if (terminal_) {
    std::cerr << "\r\x1b[K" << OneLine(Bar(study.progress()), Words(study)) << std::flush;
  } else if (Clock::now() - shown_ >= kBetweenLines) {
    shown_ = Clock::now();
    std::cerr << study.name() << ": " << Words(study) << std::endl;
  }
}

void Progress::Note(const std::string& text) {
  if (terminal_) std::cerr << "\r\x1b[K";
  std::cerr << text << std::endl;
}

void Progress::End(const v1::Study& study) {
  if (terminal_) std::cerr << "\r\x1b[K";
  std::cerr << study.name() << ": " << CountsText(study.run_counts()) << std::endl;
}

}  // namespace gyrebox::client
