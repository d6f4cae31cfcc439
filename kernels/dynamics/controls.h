/// Values of the adjustable settings of a run at a step.
#pragma once

#include <cstdint>
#include <vector>

#include "gyrebox/run_spec.h"
#include "gyrebox/settings.h"

namespace gyrebox::kernels {

/// Applies scheduled and live adjustments at their steps, and advances ramps. Its state depends on the adjustments and
/// the step alone, so a checkpoint stores nothing else.
class Controls {
 public:
  explicit Controls(const RunSpec& spec) : initial_(spec), settings_(spec), adjustments_(spec.adjustments) {}

  const Settings& settings() const { return settings_; }
  /// All adjustments, past and pending, in order of effect. Together with the spec they suffice for a replay.
  const std::vector<Adjustment>& adjustments() const { return adjustments_; }

  /// Advances the settings to a step; steps must not decrease. @return whether any setting may have changed.
  bool MoveTo(std::int64_t step);

  /// Whether an adjustment takes effect at this step; settings may jump there.
  bool JumpsAt(std::int64_t step) const;

  /// Moves to any step, including an earlier one.
  void GoTo(std::int64_t step);

  /// Adds an adjustment, after older ones for the same step. Its step must not have passed.
  void Add(const Adjustment& adjustment);

 private:
  struct Ramp {
    Parameter parameter = Parameter::kAmplitude;
    double from = 0, to = 0;
    std::int64_t first_step = 0, last_step = 0;  // value is `from` at first_step, `to` from last_step on
  };

  void Apply(const Adjustment& adjustment);
  void MoveRamps(std::int64_t step);

  Settings initial_, settings_;
  std::vector<Adjustment> adjustments_;
  std::size_t n_applied_ = 0;
  std::vector<Ramp> ramps_;
};

}  // namespace gyrebox::kernels
