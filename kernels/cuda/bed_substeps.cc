#include "cuda/bed.h"
#include "cuda/bed_memory.h"

namespace gyrebox::kernels::cuda {
// Gives spinners phases of their own once the drive first differs between them. If the device stops before that step,
// RewindTo() undoes this, and they are assigned again.
void DeviceBed::DifferFrom(const kernels::Settings& settings) {
  if (own_since_ || IsUniform(settings.disorder) || spinners_.empty()) return;
  TakeOwnMemory();
  SendOwnPhases(std::vector<Phases>(spinners_.size(), phases_), std::vector<std::uint32_t>(spinners_.size(), 0));
  own_since_ = planned_;
}

// Allocates the memory of the per-spinner drive, and sends the spinners' random numbers.
void DeviceBed::TakeOwnMemory() {
  if (own_memory_ != nullptr) return;
  PerSpinnerDrive& own = plan_.memory.own;
  const auto lay_out = [&](void* base) { return LayOutDrives(plan_.n, spinners_.size(), base, own); };
  own_memory_ = std::make_unique<DeviceBlock>(driver_, lay_out(nullptr));
  lay_out(own_memory_->at());
  std::vector<std::uint32_t> spinner_of_id(plan_.n, 0);
  std::vector<SpinnerNumbers> numbers;
  for (std::uint32_t s = 0; s < spinners_.size(); ++s) {
    spinner_of_id[spinners_[s]] = s;
    numbers.push_back(NumbersOfSpinner(course_.spec().seeds.disorder, spinners_[s]));
  }
  SendArray(driver_, spinner_of_id, own.spinner_of_id);
  SendArray(driver_, numbers, own.numbers);
  driver_.Wait();
}

void DeviceBed::SendOwnPhases(const std::vector<Phases>& phases, const std::vector<std::uint32_t>& turns) {
  SendArray(driver_, phases, plan_.memory.own.phases);
  SendArray(driver_, turns, plan_.memory.own.turns);
  driver_.Wait();
}

StepSettings DeviceBed::NumbersOf(const kernels::Settings& settings) const {
  const NoiseAmplitudes<float> noise(settings.friction, course_.spec().drag, settings.temperature,
                                     course_.substep_time());
  StepSettings numbers;
  numbers.time = course_.substep_time();
  numbers.drive_ahead = course_.drive_ahead();
  numbers.weight = static_cast<float>(course_.carried_weight());
  numbers.largest_move_squared = LimitSquared(course_.largest_move());
  numbers.differ = !IsUniform(settings.disorder) && !spinners_.empty();
  numbers.thermal = settings.temperature > 0;
  numbers.tangential = static_cast<float>(settings.friction.tangential);
  numbers.normal = static_cast<float>(settings.friction.normal);
  numbers.along = noise.along;
  numbers.across = noise.across;
  numbers.velocity = noise.velocity;
  numbers.turning = noise.spin;
  return numbers;
}

void DeviceBed::PlanSubsteps(std::uint32_t n, StepRequest* requests, Settings& planned) {
  bool carried = false;
  for (std::uint32_t k = 0;; ++k) {
    const bool changed = course_.substep() == 0 && course_.controls().MoveTo(course_.step());
    const kernels::Settings& settings = course_.settings();
    // The first substep after a jump does not extrapolate, so the second one needs other settings.
    const bool carries = course_.carried_weight() > 0;
    if (changed || k == 0 || carries != carried) {
      carried = carries;
      DifferFrom(settings);
      planned.steps.push_back(NumbersOf(settings));
      if (own_since_) {
        planned.steps.back().per_spinner_drive = static_cast<std::int32_t>(planned.own_drives.size());
        planned.own_drives.push_back({settings.wave, settings.disorder});
      }
    }
    const double time = planned.steps.back().time;
    const double drive = plan_.drive_scale * CommonDriveValue(settings.wave, planned.steps.back().drive_ahead, phases_);
    requests[k] = {course_.moment(), static_cast<float>(drive), static_cast<std::uint32_t>(planned.steps.size() - 1)};
    if (k == n) return;
    AdvancePhases(settings.wave, time, 1, phases_);
    course_.Pass();
    ++planned_;
  }
}

}  // namespace gyrebox::kernels::cuda
