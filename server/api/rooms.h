/// The rooms behind the services.
#pragma once

#include <absl/status/statusor.h>

#include <atomic>
#include <chrono>
#include <cstdint>
#include <string>

#include "access/gate.h"
#include "access/limits.h"
#include "api/worker_pool.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "store/store.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// What every service may use. Owned elsewhere.
struct Rooms {
  store::Store& store;
  kernels::Device& device;
  executor::Executor& executor;
  stream::WatchHub& hub;
  WorkerPool& pool;
  access::Gate& gate;
  access::Limits& limits;
  const std::string device_reason;
  const std::chrono::system_clock::time_point start_time;
  const std::atomic<bool>& stopping;
};

/// Sets the seconds to the end of a study that is not at its end, where the present speed is known.
void AddRemaining(store::Store& store, const executor::RateMeter& rate, int64_t id, v1::Study* study);

}  // namespace gyrebox::api
