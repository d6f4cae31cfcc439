/// Waiting for other threads or processes.
#pragma once

#include <chrono>
#include <functional>
#include <thread>

namespace gyrebox::test {

/// Waits until a condition is true; false after the limit, which only ends a failing test.
inline bool WaitFor(const std::function<bool()>& condition, std::chrono::seconds limit = std::chrono::seconds(60)) {
  const auto end = std::chrono::steady_clock::now() + limit;
  while (!condition()) {
    if (std::chrono::steady_clock::now() > end) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  return true;
}

}  // namespace gyrebox::test
