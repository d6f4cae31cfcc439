#include "access/limits.h"

namespace gyrebox::access {

constexpr double kSecondsAtOnce = 2;

double Limits::Request(const std::string& user, TokenBucket::Clock::time_point now) {
  const double rate = options_.requests_per_second;
  std::lock_guard lock(mutex_);
  return requests_.try_emplace(user, rate, std::max(1.0, kSecondsAtOnce * rate), now).first->second.Take(now);
}

std::shared_ptr<const void> Limits::Stream(const std::string& user) {
  std::lock_guard lock(mutex_);
  auto& open = streams_[user];
  if (open == nullptr) open = std::make_shared<std::atomic<int>>(0);
  if (*open >= options_.streams) return nullptr;
  ++*open;
  return std::shared_ptr<const void>(open.get(), [open = open](const void*) { --*open; });
}

}  // namespace gyrebox::access
