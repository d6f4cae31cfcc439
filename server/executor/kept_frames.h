/// The frames of one run that are to be kept.
#pragma once

#include <cstdint>
#include <vector>

#include "gyrebox/run_spec.h"
#include "store/frame.h"

namespace gyrebox::executor {

/// Holds frames back until no retry can take the run back behind them, as samples are held back.
class KeptFrames {
 public:
  /// @param every steps between frames; 0 keeps none.
  KeptFrames(int64_t every, const kernels::RetrySpec& retry) : every_(every), retry_(retry) {}

  /// Whether the frame of this step is to be taken.
  bool IsDue(int64_t step) const { return every_ > 0 && step % every_ == 0 && !Holds(step); }
  /// Whether there is one of this step.
  bool Holds(int64_t step) const;
  /// Steps that a run at this step may take before the next frame is due, `steps` at most.
  int64_t Cut(int64_t step, int64_t steps) const;

  void Hold(store::Frame frame) { held_.push_back(std::move(frame)); }
  /// A chunk took the run from one step to another: forgets what is of a past that was undone, and gives out what
  /// stands.
  void Went(int64_t from, int64_t to, std::vector<store::Frame>* out);
  /// Gives out those up to a step, which nothing takes back any more.
  void GiveOut(int64_t up_to, std::vector<store::Frame>* out);

 private:
  int64_t every_;
  kernels::RetrySpec retry_;
  std::vector<store::Frame> held_;
  int64_t last_given_ = -1;
};

}  // namespace gyrebox::executor
