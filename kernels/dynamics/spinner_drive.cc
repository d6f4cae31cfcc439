#include "dynamics/spinner_drive.h"

namespace gyrebox::kernels {

SpinnerDrive::SpinnerDrive(std::uint64_t seed, std::vector<std::uint32_t> ids) : seed_(seed), ids_(std::move(ids)) {}

void SpinnerDrive::Configure(const WaveSpec& wave, const DisorderSpec& disorder) {
  wave_ = wave;
  disorder_ = disorder;
  uniform_ = IsUniform(disorder);
  if (uniform_) return;
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
        OwnDriveValue(wave_, disorder_, own_[i], seed_, ids_[i], ahead, state_.own_phases[i], state_.turns[i]));
  }
}

void SpinnerDrive::Advance(double time) {
  AdvancePhases(wave_, time, 1, state_.phases);
  for (std::size_t i = 0; i < state_.own_phases.size(); ++i) {
    AdvanceOwnPhases(wave_, disorder_, own_[i].frequency_normal, time, state_.own_phases[i], state_.turns[i]);
  }
}

}  // namespace gyrebox::kernels
