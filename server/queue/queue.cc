#include "queue/queue.h"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <utility>

namespace gyrebox::queue {

double SteadySeconds() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

double WallSeconds() {
  return std::chrono::duration<double>(std::chrono::system_clock::now().time_since_epoch()).count();
}

Queue::Queue(store::Store& store, double half_life, Clocks clocks)
    : store_(store), clocks_(std::move(clocks)), ledger_(half_life) {
  ReadUse();
}

Choice Queue::Next(const std::vector<Work>& work, const Limits& limits) const {
  std::lock_guard lock(mutex_);
  return Choose(
      work, [this, now = clocks_.steady_seconds()](const std::string& user) { return ledger_.Used(user, now); },
      limits);
}

void Queue::Charge(const std::string& user, double seconds) {
  std::lock_guard lock(mutex_);
  ledger_.Charge(user, seconds, clocks_.steady_seconds());
}

std::map<std::string, double> Queue::UsedLocked(double now) const {
  std::map<std::string, double> all;
  for (const auto& [user, used] : ledger_.all()) all[user] = ledger_.Used(user, now);
  return all;
}

std::map<std::string, double> Queue::Used() const {
  std::lock_guard lock(mutex_);
  return UsedLocked(clocks_.steady_seconds());
}

// The wall clock is used only for the time during which no server ran.
void Queue::ReadUse() {
  const auto use = store_.users().ReadUse();
  if (!use.ok()) return;
  const double now = clocks_.steady_seconds(), wall = clocks_.wall_seconds();
  for (const auto& [user, used] : *use) {
    ledger_.Set(user, {used.seconds, now - std::max(0.0, wall - 1e-3 * static_cast<double>(used.as_of))});
  }
}

void Queue::WriteUse(double period) {
  std::lock_guard lock(mutex_);  // so that no older use is written after a newer one
  const double now = clocks_.steady_seconds();
  if (now - written_ < period) return;
  written_ = now;
  std::map<std::string, store::UserUse> use;
  for (const auto& [user, seconds] : UsedLocked(now)) {
    use[user] = {seconds, static_cast<int64_t>(1e3 * clocks_.wall_seconds())};
  }
  if (use.empty()) return;
  if (const auto status = store_.users().WriteUse(use); !status.ok()) {
    spdlog::warn("who used how much cannot be written: {}", status.ToString());
  }
}

}  // namespace gyrebox::queue
