#include "dynamics/spinner_drive.h"

#include <cmath>
#include <numbers>

#include "model/noise.h"

namespace gyrebox::kernels {
namespace {

// Parts of the disorder stream of a spinner.
enum Part : std::uint32_t { kAmplitudePart, kFrequencyPart, kPhasePart, kOrderPart, kJitterPart };

// A normal number cut at +-3 (Box & Muller, Ann. Math. Stat. 29, 610 (1958); drawn again where outside).
double CutNormal(std::uint64_t seed, std::uint64_t index, std::uint32_t part) {
  for (std::uint32_t attempt = 0;; ++attempt) {
    const std::uint32_t first = part << 16 | 2 * attempt;
    const double u = 1 - UniformOf(seed, Stream::kDisorder, index, first);
    const double v = UniformOf(seed, Stream::kDisorder, index, first + 1);
    const double g = std::sqrt(-2 * std::log(u)) * std::cos(2 * std::numbers::pi * v);
    if (std::abs(g) <= 3) return g;
  }
}

}  // namespace

SpinnerDrive::SpinnerDrive(std::uint64_t seed, std::vector<std::uint32_t> ids) : seed_(seed), ids_(std::move(ids)) {}

void SpinnerDrive::Configure(const WaveSpec& wave, const DisorderSpec& disorder) {
  wave_ = wave;
  disorder_ = disorder;
  uniform_ = disorder.amplitude_spread == 0 && disorder.frequency_spread == 0 && disorder.phase_spread == 0 &&
             disorder.jitter == 0 && disorder.opposite_share == 0;
  if (uniform_) return;
  if (order_.empty()) {
    for (const std::uint32_t id : ids_) {
      amplitude_normal_.push_back(CutNormal(seed_, id, kAmplitudePart));
      frequency_normal_.push_back(CutNormal(seed_, id, kFrequencyPart));
      phase_uniform_.push_back(UniformOf(seed_, Stream::kDisorder, id, kPhasePart << 16));
      order_.push_back(UniformOf(seed_, Stream::kDisorder, id, kOrderPart << 16));
    }
  }
  if (state_.own_phases.empty()) {
    state_.own_phases.assign(ids_.size(), state_.phases);
    state_.turns.assign(ids_.size(), 0);
  }
}

double SpinnerDrive::Common(double ahead) const {
  Phases phases = state_.phases;
  AdvancePhases(wave_, ahead, 1, phases);
  return wave_.amplitude * WaveValue(wave_, phases);
}

// Whether a spinner turns the other way: those whose number is under the share, so that a larger share adds to them.
double SpinnerDrive::Factor(std::size_t i, std::uint32_t turns) const {
  double factor = 1 + disorder_.amplitude_spread * amplitude_normal_[i];
  if (disorder_.jitter != 0) {
    const std::uint64_t index = static_cast<std::uint64_t>(turns) << 32 | ids_[i];
    factor *= 1 + disorder_.jitter * CutNormal(seed_, index, kJitterPart);
  }
  return order_[i] < disorder_.opposite_share ? -factor : factor;
}

void SpinnerDrive::AdvanceOwn(std::size_t i, double time, Phases& phases, std::uint32_t& turns) const {
  const std::uint64_t before = phases.turn[0];
  AdvancePhases(wave_, time, 1 + disorder_.frequency_spread * frequency_normal_[i], phases);
  if (phases.turn[0] < before) ++turns;
}

void SpinnerDrive::Each(double ahead, std::span<float> values) const {
  for (std::size_t i = 0; i < ids_.size(); ++i) {
    Phases phases = state_.own_phases[i];
    std::uint32_t turns = state_.turns[i];
    AdvanceOwn(i, ahead, phases, turns);
    const std::uint64_t shift = TurnFraction(disorder_.phase_spread * phase_uniform_[i]);
    for (std::uint64_t& turn : phases.turn) turn += shift;
    values[i] = static_cast<float>(wave_.amplitude * Factor(i, turns) * WaveValue(wave_, phases));
  }
}

void SpinnerDrive::Advance(double time) {
  AdvancePhases(wave_, time, 1, state_.phases);
  for (std::size_t i = 0; i < state_.own_phases.size(); ++i) AdvanceOwn(i, time, state_.own_phases[i], state_.turns[i]);
}

}  // namespace gyrebox::kernels
