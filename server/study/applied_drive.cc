#include "study/applied_drive.h"

#include "gyrebox/settings_at.h"
#include "gyrebox/wave.h"
#include "study/run_spec.h"
#include "study/schedule.h"

namespace gyrebox::study {

static double FrequencyOf(const kernels::WaveSpec& wave) {
  using Shape = kernels::WaveSpec::Shape;
  if (wave.shape == Shape::kSteady) return 0;
  return wave.shape == Shape::kSum ? kernels::HighestFrequency(wave) : wave.frequency;
}

std::vector<v1::AppliedDrive> AppliedDrives(const v1::StudySpec& at, std::span<const int64_t> steps) {
  kernels::RunSpec run = ToPhysics(at);
  run.adjustments = ToAdjustments(at);
  std::vector<v1::AppliedDrive> drives;
  for (const kernels::Settings& settings : kernels::SettingsAt(run, steps)) {
    v1::AppliedDrive& drive = drives.emplace_back();
    drive.set_amplitude(settings.wave.amplitude);
    drive.set_frequency(FrequencyOf(settings.wave));
    drive.set_unit(at.drive().has_torque() ? "epsilon" : "rad/tau");
  }
  return drives;
}

}  // namespace gyrebox::study
