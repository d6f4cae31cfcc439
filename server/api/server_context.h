/// The parts of the server that services use.
#pragma once

#include <absl/status/statusor.h>

#include <atomic>
#include <chrono>
#include <cstdint>
#include <map>
#include <string>

#include "access/authenticator.h"
#include "access/connections.h"
#include "access/limits.h"
#include "api/worker_pool.h"
#include "digest/digest_cache.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "retention/retention_worker.h"
#include "store/store.h"
#include "stream/frame_hub.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// Limits for one user at a time; 0 for no limit.
struct Quotas {
  int64_t queued_runs = 0;
  int64_t stored_bytes = 0;
  int64_t device_beads = 0;
  int64_t reserve_bytes = 0;  ///< of the disk, kept free for active runs
};

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
  const Quotas quotas;
  access::Authenticator& authenticator;
  access::Limits& limits;
  access::Connections& connections;
  const std::string device_reason;
  const std::chrono::system_clock::time_point start_time;
  const std::atomic<bool>& stopping;
};

/// Work that remains at this moment.
class Remaining {
 public:
  Remaining(store::Store& store, const executor::RateMeter& rate);

  /// Sets the remaining seconds of an unfinished study, if the present speed is known.
  void AddTo(v1::Study* study) const;

 private:
  const double speed_;              ///< bead-steps per second; 0 if unknown
  std::map<int64_t, double> work_;  ///< bead-steps, by study
};

}  // namespace gyrebox::api
