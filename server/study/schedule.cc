#include "study/schedule.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "gyrebox/wave.h"
#include "schema/number_text.h"
#include "study/round_off.h"

namespace gyrebox::study {

using kernels::Parameter;
using kernels::WaveSpec;
using Shape = kernels::WaveSpec::Shape;

/// A wave with the fields that most have.
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
  spec.n_terms = std::min(wave.terms_size(), WaveSpec::kMostTerms);
  for (int k = 0; k < spec.n_terms; ++k) {
    spec.term_shares[k] = wave.terms(k).share();
    spec.term_frequencies[k] = wave.terms(k).frequency();
  }
  return spec;
}

/// @param holder a message with a choice of waves: a drive, or what a step changes. None where it chooses none.
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
                   .opposite_share = disorder.opposite_share()};
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

static void AddChanges(const v1::Adjustable& change, bool ramp, std::vector<kernels::Change>* changes) {
  const auto add = [&](bool given, Parameter parameter, double value) {
    if (given) changes->push_back({.parameter = parameter, .value = value, .ramp = ramp});
  };
  add(change.has_amplitude(), Parameter::kAmplitude, change.amplitude());
  add(change.has_frequency(), Parameter::kFrequency, change.frequency());
  add(change.has_last_frequency(), Parameter::kLastFrequency, change.last_frequency());
  add(change.has_sweep_time(), Parameter::kSweepTime, change.sweep_time());
  add(change.has_depth(), Parameter::kDepth, change.depth());
  add(change.has_index(), Parameter::kIndex, change.index());
  add(change.has_modulation_frequency(), Parameter::kModulationFrequency, change.modulation_frequency());
  add(change.has_temperature(), Parameter::kTemperature, change.temperature());
  add(change.has_friction_tangential(), Parameter::kFrictionTangential, change.friction_tangential());
  add(change.has_friction_normal(), Parameter::kFrictionNormal, change.friction_normal());
  add(change.has_amplitude_spread(), Parameter::kAmplitudeSpread, change.amplitude_spread());
  add(change.has_frequency_spread(), Parameter::kFrequencySpread, change.frequency_spread());
  add(change.has_phase_spread(), Parameter::kPhaseSpread, change.phase_spread());
  add(change.has_jitter(), Parameter::kJitter, change.jitter());
  add(change.has_opposite_share(), Parameter::kOppositeShare, change.opposite_share());
}

/// One adjustment a stage, also where it changes nothing, without its step.
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
  for (const v1::SteeredChange& steered : at.schedule().steering().changes()) {
    adjustments.push_back(ToAdjustment(steered));
  }
  return adjustments;
}

kernels::Adjustment ToAdjustment(const v1::SteeredChange& steered) {
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
  for (const v1::SteeredChange& steered : at.schedule().steering().changes()) {
    adjustments.push_back(ToAdjustment(steered));
  }
  // Of those for the same step the later one comes last, as where it is made while the run is under way.
  std::stable_sort(adjustments.begin(), adjustments.end(),
                   [](const auto& a, const auto& b) { return a.step < b.step; });
  return adjustments;
}

/// The number that bears on frequencies and that a parameter sets; null where it sets none.
static double* Find(Parameter parameter, kernels::WaveSpec& wave, double& spread) {
  switch (parameter) {
    case Parameter::kFrequency:
      return &wave.frequency;
    case Parameter::kLastFrequency:
      return &wave.last_frequency;
    case Parameter::kIndex:
      return &wave.index;
    case Parameter::kModulationFrequency:
      return &wave.modulation_frequency;
    case Parameter::kFrequencySpread:
      return &spread;
    default:
      return nullptr;
  }
}

bool FrequencyFold::Concerns(const kernels::Adjustment& adjustment) {
  kernels::WaveSpec wave;
  double spread = 0;
  return !adjustment.wave.empty() ||
         std::any_of(adjustment.changes.begin(), adjustment.changes.end(),
                     [&](const auto& change) { return Find(change.parameter, wave, spread) != nullptr; });
}

FrequencyFold::FrequencyFold(const kernels::DriveSpec& drive)
    : wave_(drive.wave), spread_(drive.disorder.frequency_spread) {
  Count(wave_, spread_);
}

void FrequencyFold::Count(const kernels::WaveSpec& wave, double spread) {
  const double of_wave = kernels::HighestFrequency(wave);
  const double of_spinner = of_wave * (1 + 3 * spread);
  highest_.of_wave = std::max(highest_.of_wave, of_wave);
  if (of_spinner <= highest_.of_spinner) return;
  highest_.of_spinner = of_spinner;
  highest_.stage = added_ - 1;
}

void FrequencyFold::Add(const kernels::Adjustment& adjustment) {
  ++added_;
  if (!adjustment.wave.empty()) wave_ = adjustment.wave.front();
  for (const auto& change : adjustment.changes) {
    if (double* value = Find(change.parameter, wave_, spread_); value && !change.ramp) *value = change.value;
  }
  // While several ramps run, no frequency is above that of all their higher ends together.
  kernels::WaveSpec fastest = wave_;
  double widest = spread_;
  for (const auto& change : adjustment.changes) {
    if (double* value = Find(change.parameter, wave_, spread_); value && change.ramp) *value = change.value;
    if (double* value = Find(change.parameter, fastest, widest)) *value = std::max(*value, change.value);
  }
  Count(fastest, widest);
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
