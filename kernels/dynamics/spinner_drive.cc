#include "dynamics/spinner_drive.h"

#include <algorithm>
#include <iterator>

namespace gyrebox::kernels {

DriveState DriveOf(const BedState& state) {
  constexpr std::ptrdiff_t kEach = WaveSpec::kMaxTerms;
  DriveState drive;
  const auto take = [&](std::size_t which, Phases& phases) {
    std::copy_n(state.phases.begin() + kEach * static_cast<std::ptrdiff_t>(which), kEach, phases.turn);
  };
  take(0, drive.phases);
  drive.own_phases.resize(state.turns.size());
  for (std::size_t i = 0; i < state.turns.size(); ++i) take(i + 1, drive.own_phases[i]);
  drive.turns = state.turns;
  return drive;
}

void PutDrive(const DriveState& drive, BedState& state) {
  const auto put = [&](const Phases& phases) {
    state.phases.insert(state.phases.end(), std::begin(phases.turn), std::end(phases.turn));
  };
  put(drive.phases);
  for (const Phases& phases : drive.own_phases) put(phases);
  state.turns = drive.turns;
}

SpinnerDrive::SpinnerDrive(std::uint64_t seed, std::vector<std::uint32_t> ids) : seed_(seed), ids_(std::move(ids)) {}

void SpinnerDrive::Configure(const WaveSpec& wave, const DisorderSpec& disorder) {
  wave_ = wave;
  disorder_ = disorder;
  uniform_ = IsUniform(disorder);
  if (uniform_ && state_.own_phases.empty()) return;
  if (own_.empty()) {
    for (const std::uint32_t id : ids_) own_.push_back(NumbersOfSpinner(seed_, id));
  }
  if (state_.own_phases.empty()) {
    state_.own_phases.assign(ids_.size(), state_.phases);
    state_.turns.assign(ids_.size(), 0);
  }
}

double SpinnerDrive::Common(double ahead) const { return CommonDriveValue(wave_, ahead, state_.phases); }

void SpinnerDrive::Each(double ahead, std::span<float> values) const {
  for (std::size_t i = 0; i < ids_.size(); ++i) {
    values[i] = static_cast<float>(
        PerSpinnerDriveValue(wave_, disorder_, own_[i], seed_, ids_[i], ahead, state_.own_phases[i], state_.turns[i]));
  }
}

void SpinnerDrive::Advance(double time) {
  AdvancePhases(wave_, time, 1, state_.phases);
  for (std::size_t i = 0; i < state_.own_phases.size(); ++i) {
    AdvanceOwnPhases(wave_, disorder_, own_[i].frequency_normal, time, state_.own_phases[i], state_.turns[i]);
  }
}

}  // namespace gyrebox::kernels
