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
    const double fraction = static_cast<double>(i) / (range.count() - 1);
    values[i] = logarithmic ? first * std::pow(last / first, fraction) : first + (last - first) * fraction;
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
  if (at.trials().vary_positions()) seeds.set_positions(seeds.positions() + shift);
  if (at.trials().vary_noise()) seeds.set_noise(seeds.noise() + shift);
  if (at.trials().vary_disorder()) seeds.set_disorder(seeds.disorder() + shift);
  return seeds;
}

/// Appends the audit runs that the study does not have yet.
static void AddAudit(const v1::StudySpec& spec, const Stop& stop, const std::vector<AuditedRun>& audited,
                     std::vector<PlannedRun>* runs) {
  const PointOrder order(spec);
  std::set<size_t> indices;
  std::set<std::pair<size_t, int>> there;
  for (const AuditedRun& run : audited) {
    const size_t index = order.Index(run.axis_values);
    indices.insert(index);
    there.emplace(index, run.trial);
  }
  const AuditPlan plan = PlanAudit(spec, indices, stop);
  if (stop.asked()) return;
  for (const size_t index : plan.points) {
    for (int trial = 1; trial <= plan.trials; ++trial) {
      if (there.contains({index, trial})) continue;
      PlannedRun run = (*runs)[index * spec.trials().count() + trial - 1];
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
    auto& indices = axes_.emplace_back();
    for (const double value : AxisValues(axis)) indices.emplace(value, indices.size());
  }
}

static size_t NearestIndex(const std::map<double, size_t>& indices, double value) {
  const auto above = indices.lower_bound(value);
  if (above == indices.begin()) return above->second;
  const auto below = std::prev(above);
  const bool take_above = above != indices.end() && above->first - value <= value - below->first;
  return take_above ? above->second : below->second;
}

size_t PointOrder::Index(const std::vector<double>& axis_values) const {
  size_t index = 0;
  for (size_t i = 0; i < axes_.size() && i < axis_values.size(); ++i) {
    index = index * axes_[i].size() + NearestIndex(axes_[i], axis_values[i]);
  }
  return index;
}

}  // namespace gyrebox::study
