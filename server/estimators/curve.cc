#include "estimators/curve.h"

#include <algorithm>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <limits>
#include <numeric>

#include "estimators/bootstrap.h"
#include "estimators/statistics.h"

namespace gyrebox::analysis {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
/// Significance level at which a neighbour differs from the best window.
constexpr double kWindowLevel = 0.05;

static double MeanOf(std::span<const double> values) { return Summarise(values).mean; }

std::vector<CurvePoint> CountingPoints(std::span<const CurvePoint> points) {
  std::vector<CurvePoint> counting;
  std::copy_if(points.begin(), points.end(), std::back_inserter(counting), [](const auto& p) { return p.counts(); });
  std::sort(counting.begin(), counting.end(), [](const auto& a, const auto& b) { return a.x < b.x; });
  return counting;
}

/// First crossing of a level from below, by linear interpolation; -infinity if the first mean is not below it, infinity
/// if all are.
static double Crossing(std::span<const double> x, std::span<const double> means, double level) {
  if (means[0] >= level) return -kInfinity;
  for (size_t i = 1; i < means.size(); ++i) {
    if (means[i] < level) continue;
    return x[i - 1] + (x[i] - x[i - 1]) * (level - means[i - 1]) / (means[i] - means[i - 1]);
  }
  return kInfinity;
}

/// Index of the first point at or above an estimate, from the second point on; else of the last. Points ascend in x.
static size_t IndexAbove(const std::vector<CurvePoint>& points, double estimate) {
  size_t i = 1;
  while (i + 1 < points.size() && points[i].x < estimate) ++i;
  return i;
}

Bracket BracketOf(std::span<const CurvePoint> all, double estimate) {
  const auto points = CountingPoints(all);
  if (points.size() < 2) return {estimate, estimate};
  const size_t above = IndexAbove(points, estimate);
  return {points[above - 1].x, points[above].x};
}

static std::optional<double> IfFinite(double value) {
  return std::isfinite(value) ? std::optional(value) : std::nullopt;
}

static void AddOnsetInterval(const std::vector<CurvePoint>& points, std::span<const double> x,
                             std::span<const double> undriven, double factor, IntervalEstimate* onset) {
  const size_t above = IndexAbove(points, *onset->value);
  const size_t n = std::min(points[above - 1].trials.size(), points[above].trials.size());
  if (n < 2) {
    onset->note = "no interval: each point needs two realizations";
    return;
  }
  std::vector<std::span<const double>> groups = {undriven};
  for (const CurvePoint& point : points) groups.push_back(point.trials);
  const Quantiles middle = Bootstrap(
      groups, [&](std::span<const double> means) { return Crossing(x, means.subspan(1), factor * means[0]); });
  const double stretch = SmallSampleStretch(n);
  onset->low = IfFinite(*onset->value - stretch * (*onset->value - middle.low));
  onset->high = IfFinite(*onset->value + stretch * (middle.high - *onset->value));
}

IntervalEstimate FindOnset(std::span<const CurvePoint> all, std::span<const double> undriven, double factor) {
  const auto points = CountingPoints(all);
  if (undriven.empty() || points.size() < 2) return {.note = "too few usable points"};
  std::vector<double> x, means;
  for (const CurvePoint& point : points) {
    x.push_back(point.x);
    means.push_back(MeanOf(point.trials));
  }
  const double estimate = Crossing(x, means, factor * MeanOf(undriven));
  if (estimate == -kInfinity) return {.high = x.front(), .note = "already passed at the smallest value tried"};
  if (estimate == kInfinity) return {.low = x.back(), .note = "not reached in this range"};
  IntervalEstimate onset{.value = estimate};
  AddOnsetInterval(points, x, undriven, factor, &onset);
  return onset;
}

/// Extends a range from one index to both sides while neighbours belong to it.
template <class Belongs>
static std::pair<size_t, size_t> Widen(size_t from, size_t size, const Belongs& belongs) {
  size_t first = from, last = from;
  while (first > 0 && belongs(first - 1)) --first;
  while (last + 1 < size && belongs(last + 1)) ++last;
  return {first, last};
}

IntervalEstimate FindPeak(std::span<const CurvePoint> all) {
  const auto points = CountingPoints(all);
  if (points.empty()) return {.note = "no usable point"};
  const auto highest = std::max_element(
      points.begin(), points.end(), [](const auto& a, const auto& b) { return MeanOf(a.trials) < MeanOf(b.trials); });
  const auto [first, last] = Widen(highest - points.begin(), points.size(), [&](size_t i) {
    const Difference below = WelchDifference(highest->trials, points[i].trials);
    return below.value <= below.HalfWidth(0.95);
  });
  IntervalEstimate peak{.value = highest->x, .low = points[first].x, .high = points[last].x};
  if (highest + 1 == points.end()) peak.note = "at the last usable point: the peak may lie beyond it";
  return peak;
}

std::optional<Range> FindStationaryRange(std::span<const CurvePoint> all, double fraction, double from_mean) {
  const auto points = CountingPoints(all);
  const auto equal = [&](size_t i) {
    const Summary a = Summarise(points[i - 1].trials), b = Summarise(points[i].trials);
    if (std::min(a.mean, b.mean) < from_mean) return false;
    return Judge(WelchDifference(a, b), fraction * (a.mean + b.mean) / 2) == Verdict::kEqual;
  };
  size_t best_first = 0, best_last = 0;
  for (size_t i = 1, first = 0; i < points.size(); ++i) {
    if (!equal(i)) first = i;
    if (i - first > best_last - best_first) best_first = first, best_last = i;
  }
  if (best_last == best_first) return std::nullopt;
  std::vector<double> trials;
  for (size_t i = best_first; i <= best_last; ++i) {
    trials.insert(trials.end(), points[i].trials.begin(), points[i].trials.end());
  }
  return Range{points[best_first].x, points[best_last].x, MeanOf(trials), best_last - best_first + 1};
}

std::optional<Range> FindUnstableRange(std::span<const CurvePoint> points) {
  Range range{kInfinity, -kInfinity, std::numeric_limits<double>::quiet_NaN(), 0};
  for (const CurvePoint& point : points) {
    if (!point.unstable()) continue;
    range.first = std::min(range.first, point.x);
    range.last = std::max(range.last, point.x);
    ++range.n_points;
  }
  return range.n_points > 0 ? std::optional(range) : std::nullopt;
}

static double RelativeSpread(const CurvePoint& point) {
  const Summary summary = Summarise(point.trials);
  return summary.standard_deviation / std::abs(summary.mean);
}

std::optional<Window> FindBestWindow(std::span<const CurvePoint> all, double from_mean) {
  auto points = CountingPoints(all);
  std::erase_if(points, [&](const auto& p) { return p.trials.size() < 2 || MeanOf(p.trials) < from_mean; });
  if (points.empty()) return std::nullopt;
  const auto best = std::min_element(
      points.begin(), points.end(), [](const auto& a, const auto& b) { return RelativeSpread(a) < RelativeSpread(b); });
  const double spread = RelativeSpread(*best);
  const auto [first, last] = Widen(best - points.begin(), points.size(), [&](size_t i) {
    const boost::math::fisher_f ratio(static_cast<double>(points[i].trials.size() - 1),
                                      static_cast<double>(best->trials.size() - 1));
    const double bound = boost::math::quantile(boost::math::complement(ratio, kWindowLevel));
    return std::pow(RelativeSpread(points[i]) / spread, 2) <= bound;
  });
  return Window{{.value = best->x, .low = points[first].x, .high = points[last].x}, spread, best->trials.size()};
}

}  // namespace gyrebox::analysis
