#include "study/schedule.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "gyrebox/wave.h"
#include "schema/number_text.h"
#include "study/round_off.h"
#include "study/run_settings.h"

namespace gyrebox::study {

using kernels::Parameter;
using kernels::WaveSpec;
using Shape = kernels::WaveSpec::Shape;

/// A wave with the fields that most waveforms share.
template <class Wave>
static WaveSpec Base(Shape shape, const Wave& wave) {
  WaveSpec spec;
  spec.shape = shape;
  spec.amplitude = wave.amplitude();
  if constexpr (requires { wave.frequency(); }) spec.frequency = wave.frequency();
  if constexpr (requires { wave.modulation_frequency(); }) spec.modulation_frequency = wave.modulation_frequency();
  return spec;
}

static WaveSpec Chirp(const v1::ChirpWave& wave) {
  WaveSpec spec = Base(Shape::kChirp, wave);
  spec.last_frequency = wave.last_frequency();
  spec.sweep_time = wave.sweep_time();
  return spec;
}

static WaveSpec Sum(const v1::SumWave& wave) {
  WaveSpec spec = Base(Shape::kSum, wave);
  spec.n_terms = std::min(wave.terms_size(), WaveSpec::kMaxTerms);
  for (int k = 0; k < spec.n_terms; ++k) {
    spec.term_weights[k] = wave.terms(k).weight();
    spec.term_frequencies[k] = wave.terms(k).frequency();
  }
  return spec;
}

/// @param holder a message with a choice of waveforms: a drive, or the changes of a step.
/// @return none if no waveform is chosen.
template <class Holder>
static std::optional<WaveSpec> WaveOf(const Holder& holder) {
  switch (holder.waveform_case()) {
    case Holder::kSteady:
      return Base(Shape::kSteady, holder.steady());
    case Holder::kSine:
      return Base(Shape::kSine, holder.sine());
    case Holder::kSquare:
      return Base(Shape::kSquare, holder.square());
    case Holder::kTriangle:
      return Base(Shape::kTriangle, holder.triangle());
    case Holder::kChirp:
      return Chirp(holder.chirp());
    case Holder::kAm: {
      WaveSpec spec = Base(Shape::kAm, holder.am());
      spec.depth = holder.am().depth();
      return spec;
    }
    case Holder::kFm: {
      WaveSpec spec = Base(Shape::kFm, holder.fm());
      spec.index = holder.fm().index();
      return spec;
    }
    case Holder::kSum:
      return Sum(holder.sum());
    default:
      return std::nullopt;
  }
}

kernels::DriveSpec ToDriveSpec(const v1::Drive& drive) {
  kernels::DriveSpec spec;
  spec.quantity = drive.has_torque() ? kernels::DriveSpec::Quantity::kTorque : kernels::DriveSpec::Quantity::kRate;
  spec.wave = WaveOf(drive).value_or(WaveSpec());
  const v1::Disorder& disorder = drive.disorder();
  spec.disorder = {.amplitude_spread = disorder.amplitude_spread(),
                   .frequency_spread = disorder.frequency_spread(),
                   .phase_spread = disorder.phase_spread(),
                   .jitter = disorder.jitter(),
                   .opposite_fraction = disorder.opposite_fraction()};
  return spec;
}

int64_t StepsOf(const v1::Stage& stage, double time_step) {
  return std::max<int64_t>(1, std::llround(stage.duration() / time_step));
}

int64_t StepsOf(const v1::StudySpec& at) {
  if (at.schedule().steering().has_total_steps()) return at.schedule().steering().total_steps();
  const double time_step = at.dynamics().time_step();
  if (at.schedule().stages().empty()) return std::llround(at.schedule().duration() / time_step);
  int64_t steps = 0;
  for (const v1::Stage& stage : at.schedule().stages()) steps += StepsOf(stage, time_step);
  return steps;
}

double LastStageTime(const v1::StudySpec& at) {
  const auto& stages = at.schedule().stages();
  return stages.empty() ? at.schedule().duration() : stages.rbegin()->duration();
}

/// One adjustment per stage, without its step; empty if the stage changes nothing.
static std::vector<kernels::Adjustment> ChangesOfEveryStage(const v1::StudySpec& at) {
  std::vector<kernels::Adjustment> adjustments;
  for (const v1::Stage& stage : at.schedule().stages()) {
    kernels::Adjustment& adjustment = adjustments.emplace_back();
    if (const auto wave = WaveOf(stage.step())) adjustment.wave.push_back(*wave);
    AddChanges(stage.step(), /*ramp=*/false, &adjustment.changes);
    AddChanges(stage.ramp(), /*ramp=*/true, &adjustment.changes);
  }
  return adjustments;
}

static std::vector<kernels::Adjustment> AdjustmentOfEveryStage(const v1::StudySpec& at) {
  auto adjustments = ChangesOfEveryStage(at);
  int64_t step = 0;
  for (size_t i = 0; i < adjustments.size(); ++i) {
    adjustments[i].step = step;
    adjustments[i].ramp_steps = StepsOf(at.schedule().stages(static_cast<int>(i)), at.dynamics().time_step());
    step += adjustments[i].ramp_steps;
  }
  return adjustments;
}

std::vector<kernels::Adjustment> ChangesInOrder(const v1::StudySpec& at) {
  auto adjustments = ChangesOfEveryStage(at);
  for (const v1::ReplayedAdjustment& steered : at.schedule().steering().adjustments()) {
    adjustments.push_back(ToAdjustment(steered));
  }
  return adjustments;
}

kernels::Adjustment ToAdjustment(const v1::ReplayedAdjustment& steered) {
  kernels::Adjustment adjustment;
  adjustment.step = steered.step();
  adjustment.ramp_steps = steered.ramp_steps();
  AddChanges(steered.change(), /*ramp=*/steered.ramp_steps() > 0, &adjustment.changes);
  return adjustment;
}

std::vector<kernels::Adjustment> ToAdjustments(const v1::StudySpec& at) {
  auto adjustments = AdjustmentOfEveryStage(at);
  std::erase_if(adjustments,
                [](const auto& adjustment) { return adjustment.wave.empty() && adjustment.changes.empty(); });
  for (const v1::ReplayedAdjustment& steered : at.schedule().steering().adjustments()) {
    adjustments.push_back(ToAdjustment(steered));
  }
  // For equal steps the later adjustment comes last, as in a live run.
  std::stable_sort(adjustments.begin(), adjustments.end(),
                   [](const auto& a, const auto& b) { return a.step < b.step; });
  return adjustments;
}

/// Whether frequencies depend on it.
static bool IsOfFrequency(Parameter parameter) {
  return parameter == Parameter::kFrequency || parameter == Parameter::kLastFrequency ||
         parameter == Parameter::kIndex || parameter == Parameter::kModulationFrequency ||
         parameter == Parameter::kFrequencySpread;
}

bool FrequencyFold::Concerns(const kernels::Adjustment& adjustment) {
  return !adjustment.wave.empty() || std::any_of(adjustment.changes.begin(), adjustment.changes.end(),
                                                 [](const auto& change) { return IsOfFrequency(change.parameter); });
}

FrequencyFold::FrequencyFold(const kernels::DriveSpec& drive) {
  now_.wave = drive.wave;
  now_.disorder = drive.disorder;
  Count(now_);
}

void FrequencyFold::Count(const kernels::Settings& settings) {
  const double of_wave = kernels::HighestFrequency(settings.wave);
  const double of_spinner = of_wave * (1 + 3 * settings.disorder.frequency_spread);
  highest_.of_wave = std::max(highest_.of_wave, of_wave);
  if (of_spinner <= highest_.of_spinner) return;
  highest_.of_spinner = of_spinner;
  highest_.stage = added_ - 1;
}

void FrequencyFold::Add(const kernels::Adjustment& adjustment) {
  ++added_;
  if (!adjustment.wave.empty()) now_.wave = adjustment.wave.front();
  for (const auto& change : adjustment.changes) {
    if (!change.ramp) now_[change.parameter] = change.value;
  }
  // While several ramps run, the frequency never exceeds that of all their upper ends combined.
  kernels::Settings fastest = now_;
  for (const auto& change : adjustment.changes) {
    if (change.ramp) now_[change.parameter] = change.value;
    double& highest = fastest[change.parameter];
    highest = std::max(highest, change.value);
  }
  Count(fastest);
}

static HighestFrequency HighestIn(const kernels::DriveSpec& drive,
                                  const std::vector<kernels::Adjustment>& adjustments) {
  FrequencyFold fold(drive);
  for (const auto& adjustment : adjustments) fold.Add(adjustment);
  return fold.all();
}

HighestFrequency HighestFrequencyOf(const v1::StudySpec& at) {
  return HighestIn(ToDriveSpec(at.drive()), ChangesOfEveryStage(at));
}

double HighestSteeredFrequency(const v1::StudySpec& at) {
  return HighestIn(ToDriveSpec(at.drive()), ToAdjustments(at)).of_spinner;
}

constexpr double kStepsPerPeriod = 20;

bool IsTooFast(double frequency, double time_step) { return frequency * time_step * kStepsPerPeriod > 1 + kRoundOff; }

std::string TooFastText(double frequency, double time_step) {
  const auto text = [](double value) { return schema::NumberText(value, 4); };
  return schema::NumberText(frequency) + " cycles/tau leaves " + text(1 / (frequency * time_step)) +
         " steps a period, which is too few; at least 20: a frequency of at most " +
         text(1 / (kStepsPerPeriod * time_step)) + " cycles/tau, or dynamics.time_step of at most " +
         text(1 / (frequency * kStepsPerPeriod)) + " tau";
}

}  // namespace gyrebox::study
