/// Thread priority where the device and the calls compete for the same processors.
#pragma once

#include <sys/resource.h>

#include <functional>
#include <thread>

namespace gyrebox::api {

/// Lowers this thread, and all threads that it creates from now on, below the device's priority (Linux keeps one value
/// per thread, setpriority(2)), so that a flood of calls costs the runs little.
inline void StepBehindDevice() {
  constexpr int kNice = 5;  // a third of the time that a thread at 0 gets on the same processor
  setpriority(PRIO_PROCESS, 0, kNice);
}

/// Runs work on a thread of its own below the device's priority, which the threads it creates inherit.
inline void DoBehindDevice(const std::function<void()>& work) {
  std::thread([&] {
    StepBehindDevice();
    work();
  }).join();
}

}  // namespace gyrebox::api
