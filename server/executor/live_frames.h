/// Pictures of runs that are on the device.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <memory>
#include <utility>

#include "executor/deck.h"
#include "store/frame.h"

namespace gyrebox::executor {

/// Takes a frame of a run only as often as the device can bear, whoever asks: every tenth of a second, and more rarely
/// where taking it costs more than a twentieth of the time. In between the last one is handed out again. Used by the
/// executor's thread alone.
class LiveFrames {
 public:
  /// The newest frame of a run under way; null where it is not on the device.
  std::shared_ptr<const store::Frame> Look(const Deck& deck, int64_t study, int64_t number);

 private:
  using Clock = std::chrono::steady_clock;
  struct Taken {
    std::shared_ptr<const store::Frame> frame;
    Clock::time_point until;  ///< when the next one may be taken
  };

  std::map<std::pair<int64_t, int64_t>, Taken>
      taken_;  ///< by study and run; only those that may not be taken again yet
};

}  // namespace gyrebox::executor
