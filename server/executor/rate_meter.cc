#include "executor/rate_meter.h"

#include <algorithm>

namespace gyrebox::executor {

constexpr size_t kPiecesRemembered = 400;
constexpr std::chrono::seconds kRecent{5};

static double Seconds(RateMeter::Clock::duration duration) { return std::chrono::duration<double>(duration).count(); }

void RateMeter::Add(double bead_steps, Clock::time_point begin, Clock::time_point end) {
  std::lock_guard lock(mutex_);
  pieces_.push_back({bead_steps, begin, end});
  if (pieces_.size() > kPiecesRemembered) pieces_.pop_front();
}

double RateMeter::Recent(Clock::time_point now) const {
  std::lock_guard lock(mutex_);
  double bead_steps = 0;
  Clock::time_point begin = now;
  for (const Piece& piece : pieces_) {
    if (piece.end < now - kRecent) continue;
    bead_steps += piece.bead_steps;
    begin = std::min(begin, piece.begin);
  }
  return bead_steps > 0 ? bead_steps / Seconds(now - begin) : 0;
}

double RateMeter::Load(Clock::time_point now) const {
  std::lock_guard lock(mutex_);
  double busy = 0;
  for (const Piece& piece : pieces_) {
    if (piece.end > now - kRecent) busy += Seconds(piece.end - std::max(piece.begin, now - kRecent));
  }
  return std::min(1.0, busy / Seconds(kRecent));
}

double RateMeter::Reached() const {
  std::lock_guard lock(mutex_);
  double bead_steps = 0, seconds = 0;
  for (const Piece& piece : pieces_) {
    bead_steps += piece.bead_steps;
    seconds += Seconds(piece.end - piece.begin);
  }
  return seconds > 0 ? bead_steps / seconds : 0;
}

}  // namespace gyrebox::executor
