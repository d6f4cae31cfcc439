#include "lib/control_study.h"

#include <absl/strings/match.h>

#include <algorithm>
#include <set>

namespace gyrebox::client {

/// Seeds are moved on by this: more than any study has realizations.
constexpr uint64_t kOtherSeeds = 1'000'000;
/// Shortest plateau, as a fraction of a run.
constexpr double kShortestPlateau = 0.05;

constexpr char kStages[] = "schedule.stages[";

/// Whether a stage changes nothing but the amplitude.
static bool ChangesAmplitudeAlone(const v1::RunSettings& settings) {
  v1::RunSettings rest = settings;
  rest.clear_amplitude();
  return rest.ByteSizeLong() == 0;
}

/// Path of the amplitude of a drive, such as drive.sine.amplitude; empty if it has no single one.
static std::string AmplitudePath(const v1::Drive& drive) {
  const auto& reflection = *drive.GetReflection();
  const auto* choice = drive.GetDescriptor()->FindOneofByName("waveform");
  const auto* wave = choice == nullptr ? nullptr : reflection.GetOneofFieldDescriptor(drive, choice);
  if (wave == nullptr || wave->message_type()->FindFieldByName("amplitude") == nullptr) return "";
  return "drive." + wave->name() + ".amplitude";
}

/// Takes the amplitude out of a drive that has one. @return it.
static double TakeAmplitude(v1::Drive* drive) {
  const auto& reflection = *drive->GetReflection();
  const auto* wave = reflection.GetOneofFieldDescriptor(*drive, drive->GetDescriptor()->FindOneofByName("waveform"));
  auto* message = reflection.MutableMessage(drive, wave);
  const auto* field = wave->message_type()->FindFieldByName("amplitude");
  const double amplitude = message->GetReflection()->GetDouble(*message, field);
  message->GetReflection()->ClearField(message, field);
  return amplitude;
}

static bool IsOfStage(const v1::Axis& axis) { return absl::StartsWith(axis.field(), kStages); }

/// The amplitudes that the stages hold, apart from those of axes.
static std::set<double> HeldAmplitudes(const v1::Schedule& schedule, double amplitude) {
  std::set<double> held;
  for (const v1::Stage& stage : schedule.stages()) {
    if (stage.step().has_amplitude()) amplitude = stage.step().amplitude();
    if (stage.ramp().has_amplitude()) {
      amplitude = stage.ramp().amplitude();
    } else {
      held.insert(amplitude);
    }
  }
  return held;
}

absl::StatusOr<v1::StudySpec> ControlOf(const v1::StudySpec& spec, const std::string& name) {
  const auto& stages = spec.schedule().stages();
  if (stages.empty()) return absl::InvalidArgumentError(name + " has no stages: its beds stay under one drive already");
  const std::string path = AmplitudePath(spec.drive());
  const bool simple = std::all_of(stages.begin(), stages.end(), [](const v1::Stage& stage) {
    return ChangesAmplitudeAlone(stage.step()) && ChangesAmplitudeAlone(stage.ramp());
  });
  if (path.empty() || !simple) {
    return absl::InvalidArgumentError(
        "the stages of " + name +
        " change more than the amplitude; write the control yourself: the same bed and seeds.positions of other "
        "realizations, one study for each drive, without stages and as long as they last");
  }
  v1::StudySpec control = spec;
  control.set_title("Control of " + name + ": one drive throughout");
  control.clear_audit();
  control.mutable_seeds()->set_positions(spec.seeds().positions() + kOtherSeeds);
  control.mutable_seeds()->set_noise(spec.seeds().noise() + kOtherSeeds);
  control.mutable_seeds()->set_disorder(spec.seeds().disorder() + kOtherSeeds);
  double total = 0;
  for (const v1::Stage& stage : stages) total += stage.duration();
  const double plateau = spec.measure().plateau_fraction() * stages.rbegin()->duration() / total;
  control.mutable_measure()->set_plateau_fraction(std::max(kShortestPlateau, plateau));
  control.mutable_schedule()->Clear();
  control.mutable_schedule()->set_duration(total);
  control.clear_axes();
  for (const v1::Axis& axis : spec.axes()) {
    if (axis.field() == path) {
      return absl::InvalidArgumentError(name + " varies " + path +
                                        " beside its stages; write the control yourself, one point for each drive");
    }
    if (!IsOfStage(axis)) *control.add_axes() = axis;
  }
  v1::Axis& axis = *control.add_axes();
  axis.set_field(path);
  for (const double amplitude : HeldAmplitudes(spec.schedule(), TakeAmplitude(control.mutable_drive()))) {
    axis.add_values(amplitude);
  }
  return control;
}

}  // namespace gyrebox::client
