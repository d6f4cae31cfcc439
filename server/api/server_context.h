/// The parts of the server that services use.
#pragma once

#include <atomic>
#include <chrono>
#include <string>

#include "access/authenticator.h"
#include "access/connections.h"
#include "access/limits.h"
#include "access/quotas.h"
#include "api/worker_pool.h"
#include "digest/digest_cache.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "retention/retention_worker.h"
#include "store/store.h"
#include "stream/frame_hub.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// What every service may use. Owned elsewhere.
struct ServerContext {
  store::Store& store;
  kernels::Device& device;
  executor::Executor& executor;
  stream::WatchHub& hub;
  stream::FrameHub& frames;
  retention::RetentionWorker& retention_worker;
  analysis::DigestCache& digests;
  WorkerPool& pool;        ///< for quick reads
  WorkerPool& steer_pool;  ///< for steering and admin calls
  WorkerPool& slow_pool;   ///< for calls that may take minutes: no other call waits for them
  const access::Quotas quotas;
  access::Authenticator& authenticator;
  access::Limits& limits;
  access::Connections& connections;
  const std::string device_reason;
  const std::chrono::system_clock::time_point start_time;
  const std::atomic<bool>& stopping;
};

}  // namespace gyrebox::api
