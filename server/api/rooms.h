/// The rooms behind the services.
#pragma once

#include <absl/status/statusor.h>

#include <atomic>
#include <chrono>
#include <cstdint>
#include <map>
#include <string>

#include "access/connections.h"
#include "access/gate.h"
#include "access/limits.h"
#include "analysis/digest_cache.h"
#include "api/worker_pool.h"
#include "executor/executor.h"
#include "gyrebox/device.h"
#include "retention/keeper.h"
#include "store/store.h"
#include "stream/frame_hub.h"
#include "stream/watch_hub.h"

namespace gyrebox::api {

/// What one person may have at a time; 0 for no limit.
struct Quotas {
  int64_t queued_runs = 0;
  int64_t stored_bytes = 0;
  int64_t device_beads = 0;
  int64_t reserve_bytes = 0;  ///< of the disk, kept free for runs under way
};

/// What every service may use. Owned elsewhere.
struct Rooms {
  store::Store& store;
  kernels::Device& device;
  executor::Executor& executor;
  stream::WatchHub& hub;
  stream::FrameHub& frames;
  retention::Keeper& keeper;
  analysis::DigestCache& digests;
  WorkerPool& pool;        ///< of what is read quickly
  WorkerPool& steer_pool;  ///< of steering, and of what admins do
  WorkerPool& slow_pool;   ///< of calls that may take minutes: no other waits for them
  const Quotas quotas;
  access::Gate& gate;
  access::Limits& limits;
  access::Connections& connections;
  const std::string device_reason;
  const std::chrono::system_clock::time_point start_time;
  const std::atomic<bool>& stopping;
};

/// What is still to be done, as it is now.
class Remaining {
 public:
  Remaining(store::Store& store, const executor::RateMeter& rate);

  /// Sets the seconds to the end of a study that is not at its end, where the present speed is known.
  void AddTo(v1::Study* study) const;

 private:
  const double speed_;              ///< bead-steps per second; 0 where it is not known
  std::map<int64_t, double> work_;  ///< bead-steps, by study
};

}  // namespace gyrebox::api
