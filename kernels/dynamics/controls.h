/// What may change in the course of a run, as it stands at a step.
#pragma once

#include <cstdint>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// Everything adjustable.
struct Settings {
  WaveSpec wave;
  DisorderSpec disorder;
  double temperature = 0;
  FrictionSpec friction;

  explicit Settings(const RunSpec& spec)
      : wave(spec.drive.wave), disorder(spec.drive.disorder), temperature(spec.temperature), friction(spec.friction) {}
  double& operator[](Parameter parameter);
};

/// Applies adjustments at their steps, those of the schedule and those made live, and moves ramps along. Where it
/// stands is a function of the adjustments and the step alone: a checkpoint needs no more of it.
class Controls {
 public:
  explicit Controls(const RunSpec& spec) : initial_(spec), settings_(spec), adjustments_(spec.adjustments) {}

  const Settings& settings() const { return settings_; }
  /// All adjustments so far and to come, in the order in which they take effect: with the spec, all that a replay
  /// needs.
  const std::vector<Adjustment>& adjustments() const { return adjustments_; }

  /// Brings the settings to a step; steps must not go back. @return whether any changed.
  bool MoveTo(std::int64_t step);

  /// Whether an adjustment takes effect at this step: what is set may jump there.
  bool JumpsAt(std::int64_t step) const;

  /// Goes to any step, back too.
  void GoTo(std::int64_t step);

  /// Adds an adjustment; one for the same step as an older one comes after it. Its step must not have been passed.
  void Add(const Adjustment& adjustment);

 private:
  struct Ramp {
    Parameter parameter = Parameter::kAmplitude;
    double from = 0, to = 0;
    std::int64_t first_step = 0, last_step = 0;  // `from` holds at the first, `to` from the last on
  };

  void Apply(const Adjustment& adjustment);
  void MoveRamps(std::int64_t step);

  Settings initial_, settings_;
  std::vector<Adjustment> adjustments_;
  std::size_t n_applied_ = 0;
  std::vector<Ramp> ramps_;
};

}  // namespace gyrebox::kernels
