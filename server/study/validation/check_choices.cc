#include "study/validation/check_choices.h"

#include <algorithm>

#include "gyrebox/run_spec.h"
#include "schema/number_text.h"
#include "study/observables.h"
#include "study/rules.h"

namespace gyrebox::study {

static void CheckDensity(const v1::StudySpec& spec, Violations* violations) {
  if (!spec.bed().has_number_density() || spec.forces().has_soft()) return;
  violations->Add("bed.number_density",
                  "only soft forces let beads overlap so far; give bed.packing_fraction, or [forces.soft]");
}

static void CheckTerms(const v1::SumWave& wave, const std::string& path, Violations* violations) {
  constexpr int kCapacity = kernels::WaveSpec::kMaxTerms;
  if (wave.terms_size() >= 1 && wave.terms_size() <= kCapacity) return;
  violations->Add(path + ".terms", std::to_string(wave.terms_size()) + " terms; give 1 to " +
                                       std::to_string(kCapacity) + ", each as [[" + path + ".terms]]");
}

/// If a step switches to another wave, that wave's numbers must be given with it.
static void CheckWave(const v1::RunSettings& step, const std::string& path, Violations* violations) {
  if (step.waveform_case() == v1::RunSettings::WAVEFORM_NOT_SET) return;
  if (step.has_sum()) CheckTerms(step.sum(), path + ".sum", violations);
  const auto& reflection = *step.GetReflection();
  const auto& choice = *step.GetDescriptor()->FindOneofByName("waveform");
  const auto* wave = reflection.GetOneofFieldDescriptor(step, &choice);
  for (int number = v1::RunSettings::kAmplitudeFieldNumber; number <= v1::RunSettings::kModulationFrequencyFieldNumber;
       ++number) {
    const auto* field = step.GetDescriptor()->FindFieldByNumber(number);
    if (!reflection.HasField(step, field)) continue;
    violations->Add(path + "." + field->name(),
                    "this step brings another wave; give it in [" + path + "." + wave->name() + "]");
  }
}

static void CheckRamp(const v1::RunSettings& ramp, const std::string& path, Violations* violations) {
  const auto& choice = *ramp.GetDescriptor()->FindOneofByName("waveform");
  const auto* wave = ramp.GetReflection()->GetOneofFieldDescriptor(ramp, &choice);
  if (wave == nullptr) return;
  violations->Add(path + "." + wave->name(), "no ramp leads from one wave to another; give it in the stage's step");
}

static void CheckSchedule(const v1::StudySpec& spec, Violations* violations) {
  const v1::Schedule& schedule = spec.schedule();
  const bool varied = std::any_of(spec.axes().begin(), spec.axes().end(),
                                  [](const v1::Axis& axis) { return axis.field() == "schedule.duration"; });
  if (schedule.stages().empty()) {
    if (schedule.has_duration() || varied) return;
    const auto& field = *schedule.GetDescriptor()->FindFieldByName("duration");
    violations->Add("schedule.duration", "is missing; give " + Wanted(field) + ", or stages");
    return;
  }
  if (schedule.has_duration() || varied) {
    violations->Add("schedule.duration", "the stages give the length of the run; give one of the two");
  }
  for (int i = 0; i < schedule.stages_size(); ++i) {
    const std::string path = "schedule.stages[" + std::to_string(i) + "]";
    CheckWave(schedule.stages(i).step(), path + ".step", violations);
    CheckRamp(schedule.stages(i).ramp(), path + ".ramp", violations);
  }
}

static void CheckSteering(const v1::Steering& steering, Violations* violations) {
  for (int i = 0; i < steering.adjustments_size(); ++i) {
    const v1::RunSettings& change = steering.adjustments(i).change();
    if (change.waveform_case() == v1::RunSettings::WAVEFORM_NOT_SET) continue;
    violations->Add("schedule.steering.adjustments[" + std::to_string(i) + "].change",
                    "another wave cannot be steered to; give it in the step of a stage");
  }
}

static void CheckStart(const v1::Start& start, Violations* violations) {
  if (start.has_kept() && !start.has_saved()) {
    violations->Add("start.kept", "only a saved start has spinners to keep; leave it out, or give [start.saved]");
  }
  if (!start.has_saved() || start.has_kept() || start.labels_case() == v1::Start::LABELS_NOT_SET) return;
  const auto& choice = *start.GetDescriptor()->FindOneofByName("labels");
  violations->Add("start." + start.GetReflection()->GetOneofFieldDescriptor(start, &choice)->name(),
                  "a saved start keeps the spinners that it has; leave it out, or give [start.kept]");
}

static void CheckMeasure(const v1::Measure& measure, Violations* violations) {
  const std::string& size = measure.size_observable();
  if (size.empty() || size == kNumberAverage || size == kWeightAverage) return;
  violations->Add("measure.size_observable",
                  "is no average over clusters; give " + std::string(kWeightAverage) + " or " + kNumberAverage);
}

void CheckChoices(const v1::StudySpec& spec, Violations* violations) {
  CheckDensity(spec, violations);
  CheckMeasure(spec.measure(), violations);
  CheckStart(spec.start(), violations);
  if (spec.drive().has_sum()) CheckTerms(spec.drive().sum(), "drive.sum", violations);
  CheckSchedule(spec, violations);
  CheckSteering(spec.schedule().steering(), violations);
}

}  // namespace gyrebox::study
