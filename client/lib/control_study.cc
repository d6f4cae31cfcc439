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

static void TakeOtherSeeds(v1::Seeds* seeds) {
  seeds->set_positions(seeds->positions() + kOtherSeeds);
  seeds->set_noise(seeds->noise() + kOtherSeeds);
  seeds->set_disorder(seeds->disorder() + kOtherSeeds);
}

/// Replaces the stages by one drive for as long as they last, with a plateau as long as that of the last one.
static void HoldOneDrive(v1::StudySpec* spec) {
  double total = 0, last = 0;
  for (const v1::Stage& stage : spec->schedule().stages()) {
    last = stage.duration();
    total += last;
  }
  const double plateau = spec->measure().plateau_fraction() * last / total;
  spec->mutable_measure()->set_plateau_fraction(std::max(kShortestPlateau, plateau));
  spec->mutable_schedule()->Clear();
  spec->mutable_schedule()->set_duration(total);
}

/// Why no control can be written; empty if one can. @param path of the amplitude of the drive.
static std::string WhyNot(const v1::StudySpec& spec, const std::string& path) {
  const auto& stages = spec.schedule().stages();
  if (stages.empty()) return "has no stages: its beds stay under one drive already";
  const bool simple = !path.empty() && std::all_of(stages.begin(), stages.end(), [](const v1::Stage& stage) {
    return ChangesAmplitudeAlone(stage.step()) && ChangesAmplitudeAlone(stage.ramp());
  });
  const bool varied =
      std::any_of(spec.axes().begin(), spec.axes().end(), [&](const v1::Axis& axis) { return axis.field() == path; });
  if (simple && !varied) return "";
  return "changes more than the amplitude from stage to stage; write its control yourself: the same bed from other "
         "seeds, one point for each drive, without stages and as long as they last";
}

absl::StatusOr<v1::StudySpec> ControlOf(const v1::StudySpec& spec, const std::string& name) {
  const std::string path = AmplitudePath(spec.drive());
  if (const std::string why = WhyNot(spec, path); !why.empty()) return absl::InvalidArgumentError(name + " " + why);
  v1::StudySpec control = spec;
  control.set_title("Control of " + name + ": one drive throughout");
  control.clear_audit();
  TakeOtherSeeds(control.mutable_seeds());
  HoldOneDrive(&control);
  control.clear_axes();
  for (const v1::Axis& axis : spec.axes()) {
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
