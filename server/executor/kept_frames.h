/// Frames to keep of one run.
#pragma once

#include <cstdint>
#include <vector>

#include "gyrebox/run_spec.h"
#include "store/frame.h"

namespace gyrebox::executor {

/// Holds frames until no retry can roll the run back past them, as is done with samples.
class KeptFrames {
 public:
  /// @param every steps between two frames; 0 keeps none.
  KeptFrames(int64_t every, const kernels::RetrySpec& retry) : every_(every), retry_(retry) {}

  /// Whether a frame is due at this step and not yet taken.
  bool IsDue(int64_t step) const { return every_ > 0 && step % every_ == 0 && !Holds(step); }
  /// Whether the newest frame is of this step.
  bool Holds(int64_t step) const;
  /// Steps that a run at this step may take until the next frame is due, at most `steps`.
  int64_t Cut(int64_t step, int64_t steps) const;

  void Hold(store::Frame frame) { held_.push_back(std::move(frame)); }
  /// Call after a chunk. Drops rolled-back frames; emits final ones.
  void Went(int64_t from, int64_t to, std::vector<store::Frame>* out);
  /// Emits the frames up to a step, which are final.
  void GiveOut(int64_t up_to, std::vector<store::Frame>* out);

 private:
  int64_t every_;
  kernels::RetrySpec retry_;
  std::vector<store::Frame> held_;
  int64_t last_given_ = -1;
};

}  // namespace gyrebox::executor
