/// Per-spinner drive: each spinner has its own amplitude, frequencies, phase, sense of rotation and jitter.
#pragma once

#include <cmath>

#include "model/drive.h"
#include "model/noise.h"

namespace gyrebox::kernels {

/// Sub-streams of a spinner's disorder stream.
enum class DisorderPart : std::uint32_t { kAmplitude, kFrequency, kPhase, kOrder, kJitter };

/// Normal deviate truncated at +-3 (Box & Muller, Ann. Math. Stat. 29, 610 (1958); redrawn where outside).
GYREBOX_HD double CutNormal(std::uint64_t seed, std::uint64_t index, DisorderPart part) {
  for (std::uint32_t attempt = 0;; ++attempt) {
    const std::uint32_t first = static_cast<std::uint32_t>(part) << 16 | 2 * attempt;
    const double u = 1 - UniformOf(seed, Stream::kDisorder, index, first);
    const double v = UniformOf(seed, Stream::kDisorder, index, first + 1);
    const double g = std::sqrt(-2 * std::log(u)) * std::cos(6.283185307179586477 * v);
    if (g <= 3 && g >= -3) return g;
  }
}

/// Random numbers of a spinner, constant throughout a run.
struct SpinnerNumbers {
  double amplitude_normal = 0, frequency_normal = 0, phase_uniform = 0, order = 0;
};
inline SpinnerNumbers NumbersOfSpinner(std::uint64_t seed, std::uint32_t id) {
  const auto uniform = [&](DisorderPart part) {
    return UniformOf(seed, Stream::kDisorder, id, static_cast<std::uint32_t>(part) << 16);
  };
  return {CutNormal(seed, id, DisorderPart::kAmplitude), CutNormal(seed, id, DisorderPart::kFrequency),
          uniform(DisorderPart::kPhase), uniform(DisorderPart::kOrder)};
}

/// Advances a spinner's phases and counts the periods it completes.
GYREBOX_HD void AdvanceOwnPhases(const WaveSpec& wave, const DisorderSpec& disorder, double frequency_normal,
                                 double time, Phases& phases, std::uint32_t& turns) {
  const std::uint64_t before = phases.turn[0];
  AdvancePhases(wave, time, 1 + disorder.frequency_spread * frequency_normal, phases);
  if (phases.turn[0] < before) ++turns;
}

/// Amplitude of a spinner relative to the common one. Spinners whose order is below the fraction turn the other way, so
/// a larger fraction keeps them and adds others.
GYREBOX_HD double OwnFactor(const DisorderSpec& disorder, const SpinnerNumbers& own, std::uint64_t seed,
                            std::uint32_t id, std::uint32_t turns) {
  double factor = 1 + disorder.amplitude_spread * own.amplitude_normal;
  if (disorder.jitter != 0) {
    const std::uint64_t index = static_cast<std::uint64_t>(turns) << 32 | id;
    factor *= 1 + disorder.jitter * CutNormal(seed, index, DisorderPart::kJitter);
  }
  return own.order < disorder.opposite_fraction ? -factor : factor;
}

/// Drive of a spinner `ahead` tau after its current phases, rad/tau or epsilon.
GYREBOX_HD double PerSpinnerDriveValue(const WaveSpec& wave, const DisorderSpec& disorder, const SpinnerNumbers& own,
                                       std::uint64_t seed, std::uint32_t id, double ahead, Phases phases,
                                       std::uint32_t turns) {
  AdvanceOwnPhases(wave, disorder, own.frequency_normal, ahead, phases, turns);
  const std::uint64_t shift = TurnFraction(disorder.phase_spread * own.phase_uniform);
  for (std::uint64_t& turn : phases.turn) turn += shift;
  return wave.amplitude * OwnFactor(disorder, own, seed, id, turns) * WaveValue(wave, phases);
}

/// Drive without disorder `ahead` tau after the current phases, rad/tau or epsilon.
inline double CommonDriveValue(const WaveSpec& wave, double ahead, Phases phases) {
  AdvancePhases(wave, ahead, 1, phases);
  return wave.amplitude * WaveValue(wave, phases);
}

/// Whether all spinners share one drive.
inline bool IsUniform(const DisorderSpec& disorder) {
  return disorder.amplitude_spread == 0 && disorder.frequency_spread == 0 && disorder.phase_spread == 0 &&
         disorder.jitter == 0 && disorder.opposite_fraction == 0;
}

}  // namespace gyrebox::kernels
