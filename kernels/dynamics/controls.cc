#include "dynamics/controls.h"

#include <algorithm>

#include "gyrebox/settings_at.h"

namespace gyrebox::kernels {

double& Settings::operator[](Parameter parameter) {
  switch (parameter) {
    case Parameter::kAmplitude:
      return wave.amplitude;
    case Parameter::kFrequency:
      return wave.frequency;
    case Parameter::kLastFrequency:
      return wave.last_frequency;
    case Parameter::kSweepTime:
      return wave.sweep_time;
    case Parameter::kDepth:
      return wave.depth;
    case Parameter::kIndex:
      return wave.index;
    case Parameter::kModulationFrequency:
      return wave.modulation_frequency;
    case Parameter::kTemperature:
      return temperature;
    case Parameter::kFrictionTangential:
      return friction.tangential;
    case Parameter::kFrictionNormal:
      return friction.normal;
    case Parameter::kAmplitudeSpread:
      return disorder.amplitude_spread;
    case Parameter::kFrequencySpread:
      return disorder.frequency_spread;
    case Parameter::kPhaseSpread:
      return disorder.phase_spread;
    case Parameter::kJitter:
      return disorder.jitter;
    case Parameter::kOppositeFraction:
      return disorder.opposite_fraction;
  }
  __builtin_unreachable();
}

void Controls::Add(const Adjustment& adjustment) {
  const auto after =
      std::upper_bound(adjustments_.begin() + static_cast<std::ptrdiff_t>(n_applied_), adjustments_.end(),
                       adjustment.step, [](std::int64_t step, const Adjustment& a) { return step < a.step; });
  adjustments_.insert(after, adjustment);
}

bool Controls::MoveTo(std::int64_t step) {
  bool changed = !ramps_.empty();
  for (; n_applied_ < adjustments_.size() && adjustments_[n_applied_].step <= step; ++n_applied_) {
    // An adjustment and its ramps start from the values at the step where it takes effect.
    MoveRamps(adjustments_[n_applied_].step);
    Apply(adjustments_[n_applied_]);
    changed = true;
  }
  MoveRamps(step);
  return changed;
}

bool Controls::JumpsAt(std::int64_t step) const {
  const auto first = std::lower_bound(adjustments_.begin(), adjustments_.end(), step,
                                      [](const Adjustment& a, std::int64_t at) { return a.step < at; });
  return first != adjustments_.end() && first->step == step;
}

void Controls::GoTo(std::int64_t step) {
  settings_ = initial_;
  ramps_.clear();
  n_applied_ = 0;
  MoveTo(step);
}

std::vector<Settings> SettingsAt(const RunSpec& spec, std::span<const std::int64_t> steps) {
  Controls controls(spec);
  std::vector<Settings> all;
  for (const std::int64_t step : steps) {
    controls.MoveTo(step);
    all.push_back(controls.settings());
  }
  return all;
}

void Controls::MoveRamps(std::int64_t step) {
  for (const Ramp& ramp : ramps_) {
    const double fraction =
        static_cast<double>(step - ramp.first_step) / static_cast<double>(ramp.last_step - ramp.first_step);
    settings_[ramp.parameter] = step >= ramp.last_step ? ramp.to : ramp.from + (ramp.to - ramp.from) * fraction;
  }
  std::erase_if(ramps_, [&](const Ramp& ramp) { return step >= ramp.last_step; });
}

void Controls::Apply(const Adjustment& adjustment) {
  if (!adjustment.wave.empty()) settings_.wave = adjustment.wave.front();
  for (const Change& change : adjustment.changes) {
    // The latest change of a parameter wins.
    std::erase_if(ramps_, [&](const Ramp& ramp) { return ramp.parameter == change.parameter; });
    if (change.ramp && adjustment.ramp_steps > 0) {
      ramps_.push_back({change.parameter, settings_[change.parameter], change.value, adjustment.step,
                        adjustment.step + adjustment.ramp_steps});
    } else {
      settings_[change.parameter] = change.value;
    }
  }
}

}  // namespace gyrebox::kernels
