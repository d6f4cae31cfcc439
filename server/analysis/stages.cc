#include "analysis/stages.h"

#include <algorithm>

#include "study/number_at.h"
#include "study/schedule.h"

namespace gyrebox::analysis {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

/// Name of the wave that is chosen, such as sine.
static std::string WaveName(const v1::Drive& drive) {
  const auto* choice = v1::Drive::descriptor()->FindOneofByName("waveform");
  const auto* chosen = drive.GetReflection()->GetOneofFieldDescriptor(drive, choice);
  return chosen == nullptr ? "steady" : chosen->name();
}

/// Where a number of an Adjustable goes.
static std::string PathOf(const std::string& name, const v1::StudySpec& at) {
  if (name == "temperature") return "thermal.temperature";
  if (name == "friction_tangential") return "friction.tangential";
  if (name == "friction_normal") return "friction.normal";
  const bool disorder = v1::Disorder::descriptor()->FindFieldByName(name) != nullptr;
  return disorder ? "drive.disorder." + name : "drive." + WaveName(at.drive()) + "." + name;
}

/// Takes over the wave that a step chooses, if it does.
static void SetWave(const v1::Adjustable& change, v1::Drive* drive) {
  const auto* choice = v1::Adjustable::descriptor()->FindOneofByName("waveform");
  const auto* wave = change.GetReflection()->GetOneofFieldDescriptor(change, choice);
  if (wave == nullptr) return;
  const auto* same = v1::Drive::descriptor()->FindFieldByName(wave->name());
  drive->GetReflection()->MutableMessage(drive, same)->CopyFrom(change.GetReflection()->GetMessage(change, wave));
}

/// @return whether anything changes.
static bool Apply(const v1::Adjustable& change, v1::StudySpec* at) {
  SetWave(change, at->mutable_drive());
  bool any = false;
  for (int i = 0; i < change.GetDescriptor()->field_count(); ++i) {
    const FieldDescriptor* field = change.GetDescriptor()->field(i);
    if (field->cpp_type() != FieldDescriptor::CPPTYPE_DOUBLE) continue;
    if (!change.GetReflection()->HasField(change, field)) continue;
    study::SetNumberAt(at, PathOf(field->name(), *at), study::GetNumber(change, *field));
    any = true;
  }
  return any;
}

static double NumberOfWave(const v1::Drive& drive, const std::string& name) {
  return study::NumberAt(drive, WaveName(drive) + "." + name).value_or(0);
}

static std::string BedAndDrive(v1::StudySpec same) {
  // How it is computed follows from more than the drive of this stage.
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
    Apply(stage.step(), &now);
    const bool ramps = Apply(stage.ramp(), &now);
    const double step = at.dynamics().time_step();
    const std::string number = std::to_string(stages.size() + 1);
    add(stage.label().empty() ? number : stage.label(), static_cast<double>(study::StepsOf(stage, step)) * step, ramps);
  }
  if (stages.empty()) add("1", at.schedule().duration(), false);
  return stages;
}

}  // namespace gyrebox::analysis
