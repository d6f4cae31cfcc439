/// Live frames of runs on the device.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <memory>
#include <utility>

#include "executor/batch_manager.h"
#include "store/frame.h"

namespace gyrebox::executor {

/// Limits how often a frame of a run is taken, independent of the number of viewers: at most every 0.1 s, and so rarely
/// that it costs at most about 1/20 of the time. Calls in between return the last frame. Used by the executor's thread
/// only.
class LiveFrames {
 public:
  /// The newest frame of a run; null if it is not on the device.
  std::shared_ptr<const store::Frame> Look(const BatchManager& batches, int64_t study, int64_t number);

 private:
  using Clock = std::chrono::steady_clock;
  struct Taken {
    std::shared_ptr<const store::Frame> frame;
    Clock::time_point until;  ///< when the next frame may be taken
  };

  std::map<std::pair<int64_t, int64_t>, Taken>
      taken_;  ///< by study and run; only runs whose next frame is not allowed yet
};

}  // namespace gyrebox::executor
