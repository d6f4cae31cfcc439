#include "study/expand.h"

#include <cmath>

#include "study/number_at.h"

namespace gyrebox::study {

static std::vector<double> Spaced(const v1::AxisRange& range, bool logarithmic) {
  const double first = range.first(), last = range.last();
  std::vector<double> values(range.count());
  for (int i = 0; i < range.count(); ++i) {
    const double share = static_cast<double>(i) / (range.count() - 1);
    values[i] = logarithmic ? first * std::pow(last / first, share) : first + (last - first) * share;
  }
  values.back() = last;
  return values;
}

std::vector<double> AxisValues(const v1::Axis& axis) {
  if (axis.has_linear()) return Spaced(axis.linear(), false);
  if (axis.has_logarithmic()) return Spaced(axis.logarithmic(), true);
  return {axis.values().begin(), axis.values().end()};
}

std::vector<std::vector<double>> Points(const v1::StudySpec& spec) {
  std::vector<std::vector<double>> points = {{}};
  for (const v1::Axis& axis : spec.axes()) {
    const auto values = AxisValues(axis);
    std::vector<std::vector<double>> longer;
    longer.reserve(points.size() * values.size());
    for (const auto& point : points) {
      for (const double value : values) {
        longer.push_back(point);
        longer.back().push_back(value);
      }
    }
    points = std::move(longer);
  }
  return points;
}

v1::StudySpec AtPoint(const v1::StudySpec& spec, const std::vector<double>& axis_values) {
  v1::StudySpec at = spec;
  for (int i = 0; i < spec.axes_size(); ++i) SetNumberAt(&at, spec.axes(i).field(), axis_values[i]);
  return at;
}

static v1::Seeds SeedsOfTrial(const v1::StudySpec& at, int trial) {
  v1::Seeds seeds = at.seeds();
  const uint64_t shift = trial - 1;
  if (at.trials().vary_places()) seeds.set_places(seeds.places() + shift);
  if (at.trials().vary_noise()) seeds.set_noise(seeds.noise() + shift);
  if (at.trials().vary_disorder()) seeds.set_disorder(seeds.disorder() + shift);
  return seeds;
}

std::vector<PlannedRun> Expand(const v1::StudySpec& spec) {
  std::vector<PlannedRun> runs;
  for (const auto& point : Points(spec)) {
    const v1::StudySpec at = AtPoint(spec, point);
    for (int trial = 1; trial <= spec.trials().count(); ++trial) {
      runs.push_back({point, trial, SeedsOfTrial(at, trial)});
    }
  }
  return runs;
}

}  // namespace gyrebox::study
