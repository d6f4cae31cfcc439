/// Priority of threads where the device and those who call need the same processors.
#pragma once

#include <sys/resource.h>

#include <functional>
#include <thread>

namespace gyrebox::api {

/// Puts this thread, and all that it makes from now on, behind the device's (Linux keeps one value for each thread,
/// setpriority(2)): a flood of calls then costs the runs little.
inline void StepBehindDevice() {
  constexpr int kNice = 5;  // a third of the time of a thread at 0 that wants the same processor
  setpriority(PRIO_PROCESS, 0, kNice);
}

/// Does work on a thread of its own behind the device's, for the sake of the threads that it makes.
inline void DoBehindDevice(const std::function<void()>& work) {
  std::thread([&] {
    StepBehindDevice();
    work();
  }).join();
}

}  // namespace gyrebox::api
