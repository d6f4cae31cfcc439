#include "digest/stages.h"

#include <algorithm>

#include "study/run_settings.h"
#include "study/schedule.h"

namespace gyrebox::analysis {

static double NumberOfWave(const v1::Drive& drive, const std::string& name) {
  return study::WaveNumber(drive, name).value_or(0);
}

static std::string BedAndDrive(v1::StudySpec same) {
  // Dynamics follow from more than the drive of this stage.
  same.clear_dynamics();
  same.clear_audit();
  same.clear_title();
  same.clear_schedule();
  same.clear_measure();
  same.clear_health();
  same.clear_seeds();
  same.clear_axes();
  same.clear_trials();
  same.clear_retry();
  same.clear_laboratory();
  return same.SerializeAsString();
}

static double FrequencyOf(const v1::Drive& drive) {
  return drive.has_chirp() || drive.has_sum() ? 0 : NumberOfWave(drive, "frequency");
}

static double PeriodOf(const v1::Drive& drive) {
  if (drive.has_chirp()) return drive.chirp().sweep_time();
  double frequency =
      drive.has_am() || drive.has_fm() ? NumberOfWave(drive, "modulation_frequency") : FrequencyOf(drive);
  for (const v1::WaveTerm& term : drive.sum().terms()) {
    frequency = frequency == 0 ? term.frequency() : std::min(frequency, term.frequency());
  }
  return frequency > 0 ? 1 / frequency : 0;
}

std::vector<Stage> StagesOf(const v1::StudySpec& at) {
  v1::StudySpec now = at;
  std::vector<Stage> stages;
  const auto add = [&](const std::string& label, double duration, bool ramps) {
    const double begin = stages.empty() ? 0 : stages.back().end;
    stages.push_back({.label = label,
                      .begin = begin,
                      .end = begin + duration,
                      .ramps = ramps,
                      .amplitude = NumberOfWave(now.drive(), "amplitude"),
                      .period = PeriodOf(now.drive()),
                      .frequency = FrequencyOf(now.drive()),
                      .bed_and_drive = BedAndDrive(now)});
  };
  for (const v1::Stage& stage : at.schedule().stages()) {
    study::Apply(stage.step(), &now);
    const bool ramps = study::Apply(stage.ramp(), &now);
    const double step = at.dynamics().time_step();
    const std::string number = std::to_string(stages.size() + 1);
    add(stage.label().empty() ? number : stage.label(), static_cast<double>(study::StepsOf(stage, step)) * step, ramps);
  }
  if (stages.empty()) add("1", at.schedule().duration(), false);
  return stages;
}

}  // namespace gyrebox::analysis
