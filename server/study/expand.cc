#include "study/expand.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>
#include <utility>

#include "study/audit.h"
#include "study/number_at.h"
#include "study/point_setter.h"
#include "study/time_step.h"

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
  const int given = std::min(spec.axes_size(), static_cast<int>(axis_values.size()));
  for (int i = 0; i < given; ++i) SetNumberAt(&at, spec.axes(i).field(), axis_values[i]);
  FillDynamics(&at);
  return at;
}

double StepOf(const v1::StudySpec& at) { return at.dynamics().time_step(); }

v1::StudySpec AsAudited(v1::StudySpec at) {
  if (IsLaggedAgainstRule(at, PeaksOf(at)))
    FillConverged(at.mutable_dynamics()->mutable_overdamped()->mutable_converged());
  at.mutable_dynamics()->set_time_step(StepOf(at) / 2);
  return at;
}

v1::StudySpec AtRun(const v1::StudySpec& spec, const PlannedRun& run) {
  v1::StudySpec at = AtPoint(spec, run.axis_values);
  return run.audit ? AsAudited(std::move(at)) : at;
}

static v1::Seeds SeedsOfTrial(const v1::StudySpec& at, int trial) {
  v1::Seeds seeds = at.seeds();
  const uint64_t shift = trial - 1;
  if (at.trials().vary_places()) seeds.set_places(seeds.places() + shift);
  if (at.trials().vary_noise()) seeds.set_noise(seeds.noise() + shift);
  if (at.trials().vary_disorder()) seeds.set_disorder(seeds.disorder() + shift);
  return seeds;
}

/// Adds the runs of the audit to those of all points, but for those that the study has.
static void AddAudit(const v1::StudySpec& spec, const Stop& stop, const std::vector<AuditedRun>& audited,
                     std::vector<PlannedRun>* runs) {
  const PointOrder order(spec);
  std::set<size_t> places;
  std::set<std::pair<size_t, int>> there;
  for (const AuditedRun& run : audited) {
    const size_t place = order.Place(run.axis_values);
    places.insert(place);
    there.emplace(place, run.trial);
  }
  const AuditPlan plan = PlanAudit(spec, places, stop);
  if (stop.asked()) return;
  for (const size_t place : plan.points) {
    for (int trial = 1; trial <= plan.trials; ++trial) {
      if (there.contains({place, trial})) continue;
      PlannedRun run = (*runs)[place * spec.trials().count() + trial - 1];
      run.audit = true;
      runs->push_back(std::move(run));
    }
  }
}

std::vector<PlannedRun> Expand(const v1::StudySpec& spec, const Stop& stop, const std::vector<AuditedRun>& audited) {
  std::vector<PlannedRun> runs;
  PointSetter setter(spec);
  for (const auto& point : Points(spec)) {
    if (stop.asked()) break;
    const v1::StudySpec& at = setter.At(point);
    for (int trial = 1; trial <= spec.trials().count(); ++trial) {
      runs.push_back({point, trial, SeedsOfTrial(at, trial)});
    }
  }
  AddAudit(spec, stop, audited, &runs);
  return runs;
}

PointOrder::PointOrder(const v1::StudySpec& spec) {
  for (const v1::Axis& axis : spec.axes()) {
    auto& places = axes_.emplace_back();
    for (const double value : AxisValues(axis)) places.emplace(value, places.size());
  }
}

static size_t NearestPlace(const std::map<double, size_t>& places, double value) {
  const auto above = places.lower_bound(value);
  if (above == places.begin()) return above->second;
  const auto below = std::prev(above);
  const bool take_above = above != places.end() && above->first - value <= value - below->first;
  return take_above ? above->second : below->second;
}

size_t PointOrder::Place(const std::vector<double>& axis_values) const {
  size_t place = 0;
  for (size_t i = 0; i < axes_.size() && i < axis_values.size(); ++i) {
    place = place * axes_[i].size() + NearestPlace(axes_[i], axis_values[i]);
  }
  return place;
}

}  // namespace gyrebox::study
