#include "study/audit.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <string>

#include "study/expand.h"
#include "study/schedule.h"

namespace gyrebox::study {

constexpr double kMapCost = 0.15;
constexpr int kMaxAuditedTrials = 4;
/// Normal numbers of spreads between spinners are cut here.
constexpr double kCut = 3;
/// Lets a sum of fractions count as the bound that it is meant to be.
constexpr double kRoundOff = 1e-9;

double DefaultAuditCost(const v1::StudySpec& spec) {
  const bool is_map = std::any_of(spec.axes().begin(), spec.axes().end(), [](const v1::Axis& axis) {
    const std::string& field = axis.field();
    return field.starts_with("drive.") && (field.ends_with(".amplitude") || field.ends_with(".frequency"));
  });
  return is_map ? kMapCost : 0;
}

int AuditedTrials(const v1::StudySpec& spec) { return std::min(spec.trials().count(), kMaxAuditedTrials); }

/// Peak of a wave over its amplitude.
static double PeakFactor(const kernels::WaveSpec& wave) {
  using Shape = kernels::WaveSpec::Shape;
  if (wave.shape == Shape::kAm) return 1 + std::abs(wave.depth);
  if (wave.shape != Shape::kSum) return 1;
  double sum = 0;
  for (int i = 0; i < wave.n_terms; ++i) sum += std::abs(wave.term_shares[i]);
  return sum;
}

/// Highest peak of the drive of any spinner in the course of a run, in rad/tau; of a torque the rate that it gives to a
/// bead by itself.
static double PeakRateOf(const v1::StudySpec& at) {
  const kernels::DriveSpec drive = ToDriveSpec(at.drive());
  kernels::WaveSpec wave = drive.wave;
  double factor = PeakFactor(wave), amplitude = std::abs(wave.amplitude), spread = drive.disorder.amplitude_spread,
         jitter = drive.disorder.jitter;
  for (const kernels::Adjustment& adjustment : ToAdjustments(at)) {
    if (!adjustment.wave.empty()) {
      factor = std::max(factor, PeakFactor(adjustment.wave.front()));
      amplitude = std::max(amplitude, std::abs(adjustment.wave.front().amplitude));
    }
    for (const kernels::Change& change : adjustment.changes) {
      using kernels::Parameter;
      if (change.parameter == Parameter::kAmplitude) amplitude = std::max(amplitude, std::abs(change.value));
      if (change.parameter == Parameter::kDepth) factor = std::max(factor, 1 + std::abs(change.value));
      if (change.parameter == Parameter::kAmplitudeSpread) spread = std::max(spread, change.value);
      if (change.parameter == Parameter::kJitter) jitter = std::max(jitter, change.value);
    }
  }
  const double peak = factor * amplitude * (1 + kCut * spread) * (1 + kCut * jitter);
  return drive.quantity == kernels::DriveSpec::Quantity::kTorque ? peak / at.drag().rotational() : peak;
}

double StepRisk(const v1::StudySpec& at) {
  const double peak = PeakRateOf(at);
  return peak * peak * at.dynamics().time_step();
}

/// Bead-steps of one run, but for a factor that is the same everywhere.
static double WorkOf(const v1::StudySpec& at) {
  return static_cast<double>(at.bed().bead_count()) * static_cast<double>(StepsOf(at));
}

std::vector<size_t> AuditedPoints(const v1::StudySpec& spec) {
  if (!(spec.audit().max_cost() > 0)) return {};
  std::vector<double> risks, works;
  for (const auto& point : Points(spec)) {
    const v1::StudySpec at = AtPoint(spec, point);
    risks.push_back(StepRisk(at));
    works.push_back(WorkOf(at));
  }
  std::vector<size_t> order(risks.size());
  std::iota(order.begin(), order.end(), size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](size_t a, size_t b) { return risks[a] > risks[b]; });
  const double all = std::accumulate(works.begin(), works.end(), 0.0) * spec.trials().count();
  double left = all * spec.audit().max_cost() * (1 + kRoundOff);
  std::vector<size_t> audited;
  for (const size_t place : order) {
    left -= 2 * works[place] * AuditedTrials(spec);  // half the step takes twice the steps
    if (left < 0 || !(risks[place] > 0)) break;
    audited.push_back(place);
  }
  return audited;
}

}  // namespace gyrebox::study
