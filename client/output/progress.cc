#include "output/progress.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <iostream>
#include <sstream>
#include <vector>

#include "output/text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

constexpr int kBarWidth = 30;
constexpr std::chrono::seconds kBetweenLines{3};

Progress::Progress() : terminal_(isatty(STDERR_FILENO) == 1), shown_(Clock::now() - kBetweenLines) {}

static std::string Percent(const v1::Study& study) {
  return std::to_string(static_cast<int>(std::floor(100 * study.progress()))) + " %";
}

static std::string Words(const v1::Study& study) {
  const bool paused = study.state() == v1::Study::STATE_PAUSED;
  std::string text = Percent(study) + (paused ? "  paused: " : "  ") + CountsText(study.run_counts());
  if (study.has_remaining_seconds()) text += ", " + AboutText(study.remaining_seconds()) + " left";
  return text;
}

static std::string Bar(double fraction) {
  const int full = static_cast<int>(fraction * kBarWidth);
  return "[" + std::string(full, '#') + std::string(kBarWidth - full, '.') + "] ";
}

/// Usable lines and columns of the terminal.
struct Room {
  size_t lines = 23, columns = 79;
};

static Room RoomOf(int terminal) {
  winsize size{};
  if (ioctl(terminal, TIOCGWINSZ, &size) != 0 || size.ws_col < 2 || size.ws_row < 2) return {};
  return {size.ws_row - 1u, size.ws_col - 1u};
}

/// A line that does not wrap, since a wrapped line cannot be redrawn in place: drops the bar and truncates a long line.
static std::string OneLine(const std::string& bar, const std::string& words, size_t columns) {
  return bar.size() + words.size() <= columns ? bar + words : words.substr(0, columns);
}

/// A paragraph in lines that do not wrap, indented after the first; truncates a word that is too long.
static std::vector<std::string> Wrapped(const std::string& paragraph, size_t columns) {
  constexpr char kIndent[] = "  ";
  std::vector<std::string> lines;
  std::istringstream words(paragraph);
  for (std::string word; words >> word;) {
    if (lines.empty()) {
      lines.push_back(word);
    } else if (lines.back().size() + 1 + word.size() <= columns) {
      lines.back() += " " + word;
    } else {
      lines.push_back(kIndent + word);
    }
  }
  for (std::string& line : lines) line.resize(std::min(line.size(), columns));
  return lines;
}

/// Draws from the line of the cursor downwards, then moves the cursor back.
static void Redraw(const std::string& line, std::span<const std::string> below, Room room) {
  std::string text = "\r\x1b[J" + line;
  size_t under = 0;
  for (const std::string& paragraph : below) {
    for (const std::string& part : Wrapped(schema::Visible(paragraph), room.columns)) {
      if (++under < room.lines) text += "\n" + part;
    }
  }
  under = std::min(under, room.lines - 1);
  if (under > 0) text += "\x1b[" + std::to_string(under) + "A";
  std::cerr << text << "\r" << std::flush;
}

void Progress::Show(const v1::Study& study, std::span<const std::string> runs, std::span<const std::string> below) {
  if (terminal_) {
    const Room room = RoomOf(STDERR_FILENO);
    std::vector<std::string> all(runs.begin(), runs.end());
    all.insert(all.end(), below.begin(), below.end());
    Redraw(OneLine(Bar(study.progress()), Words(study), room.columns), all, room);
  } else if (Clock::now() - shown_ >= kBetweenLines) {
    shown_ = Clock::now();
    std::cerr << study.name() << ": " << Words(study) << std::endl;
    for (const std::string& line : runs) std::cerr << "  " << schema::Visible(line) << std::endl;
  }
}

void Progress::Note(const std::string& text) {
  if (terminal_) std::cerr << "\r\x1b[J";
  std::cerr << schema::Visible(text) << std::endl;
}

void Progress::End(const v1::Study& study) {
  if (terminal_) std::cerr << "\r\x1b[J";
  std::cerr << study.name() << ": " << CountsText(study.run_counts()) << std::endl;
}

}  // namespace gyrebox::client
