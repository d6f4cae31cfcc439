#include "estimators/curve.h"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <limits>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
/// Level of a family of tests.
constexpr double kLevel = 0.05;

Sample LogsOf(const CurvePoint& point) { return Logs({point.starts, point.trials}); }

double GeometricMean(const CurvePoint& point) { return std::exp(MeanOf(LogsOf(point), {}).mean); }

static std::vector<Sample> LogsOf(std::span<const CurvePoint> points) {
  std::vector<Sample> logs;
  for (const CurvePoint& point : points) logs.push_back(LogsOf(point));
  return logs;
}

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

namespace {

/// Logarithm of size over undriven size along a curve. Between points the size of each start is interpolated.
class Rise {
 public:
  Rise(const std::vector<CurvePoint>& points, const CurvePoint& undriven)
      : logs_(LogsOf(std::span(points))), undriven_(LogsOf(undriven)) {
    std::vector<Sample> pairs, apart = logs_;
    for (const Sample& logs : logs_) pairs.push_back(PairedDifferences(logs, undriven_));
    apart.push_back(undriven_);
    pairs_ = PriorOf(pairs);
    apart_ = PriorOf(apart);
  }

  /// Whether it can be this level at a fraction of the way from point i to the next.
  bool CanBe(double level, size_t i, double fraction) const {
    const LogMean rise = DifferenceOf(Between(i, fraction), undriven_, pairs_, apart_);
    return std::abs(rise.mean - level) <= rise.HalfWidth(0.95);
  }

 private:
  /// The sample of the nearer point where too few starts are common.
  Sample Between(size_t i, double fraction) const {
    const Sample &below = logs_[i], &above = logs_[i + 1];
    Sample between;
    for (size_t k = 0, m = 0; k < below.starts.size(); ++k) {
      while (m < above.starts.size() && above.starts[m] < below.starts[k]) ++m;
      if (m == above.starts.size() || above.starts[m] != below.starts[k]) continue;
      const double size = (1 - fraction) * std::exp(below.values[k]) + fraction * std::exp(above.values[m]);
      between.starts.push_back(below.starts[k]);
      between.values.push_back(std::log(size));
    }
    return between.values.size() >= 2 ? between : logs_[fraction < 0.5 ? i : i + 1];
  }

  const std::vector<Sample> logs_;
  const Sample undriven_;
  VariancePrior pairs_, apart_;
};

}  // namespace

/// Steps between two points at which an interval is sought.
constexpr int kSteps = 64;

/// Widens an estimate to both sides while the rise can be that of the onset.
static void AddOnsetInterval(const std::vector<CurvePoint>& points, const CurvePoint& undriven, double factor,
                             IntervalEstimate* onset) {
  const Rise rise(points, undriven);
  const int last = static_cast<int>(points.size() - 1) * kSteps;
  const auto x = [&](int step) {
    const size_t i = std::min<size_t>(step / kSteps, points.size() - 2);
    const double fraction = step / static_cast<double>(kSteps) - static_cast<double>(i);
    return points[i].x + fraction * (points[i + 1].x - points[i].x);
  };
  const auto can_be = [&](int step) {
    const size_t i = std::min<size_t>(step / kSteps, points.size() - 2);
    return rise.CanBe(std::log(factor), i, step / static_cast<double>(kSteps) - static_cast<double>(i));
  };
  int above = 0;
  while (above < last && x(above) < *onset->value) ++above;
  int below = above;
  while (below > 0 && x(below) > *onset->value) --below;
  while (below >= 0 && can_be(below)) --below;
  while (above <= last && can_be(above)) ++above;
  if (below >= 0) onset->low = x(below);
  if (above <= last) onset->high = x(above);
}

IntervalEstimate FindOnset(std::span<const CurvePoint> all, const CurvePoint& undriven, double factor) {
  const auto points = CountingPoints(all);
  if (undriven.trials.empty() || points.size() < 2) return {.note = "too few usable points"};
  std::vector<double> x, means;
  for (const CurvePoint& point : points) {
    x.push_back(point.x);
    means.push_back(GeometricMean(point));
  }
  const double estimate = Crossing(x, means, factor * GeometricMean(undriven));
  if (estimate == -kInfinity) return {.high = x.front(), .note = "already passed at the smallest value tried"};
  if (estimate == kInfinity) return {.low = x.back(), .note = "not reached in this range"};
  IntervalEstimate onset{.value = estimate};
  const size_t above = IndexAbove(points, estimate);
  if (std::min(points[above - 1].trials.size(), points[above].trials.size()) < 2) {
    onset.note = "no interval: each point needs two realizations";
  } else {
    AddOnsetInterval(points, undriven, factor, &onset);
  }
  return onset;
}

/// Level of each test of a family of comparisons with an extreme, one-sided.
static double LevelOfEach(size_t compared) { return kLevel / static_cast<double>(std::max<size_t>(1, compared - 1)); }

/// @param sign 1 for the largest, -1 for the smallest.
static std::optional<Extreme> FindExtreme(std::span<const CurvePoint> all, double sign) {
  const auto points = CountingPoints(all);
  if (points.empty()) return std::nullopt;
  const auto logs = LogsOf(std::span(points));
  const auto means = MeansOf(logs);
  size_t best = 0;
  for (size_t i = 1; i < means.size(); ++i) {
    if (sign * means[i].mean > sign * means[best].mean) best = i;
  }
  const auto differences = DifferencesFrom(logs, logs[best]);
  size_t first = best, last = best;
  for (size_t i = 0; i < points.size(); ++i) {
    const double half_width = differences[i].HalfWidth(1 - 2 * LevelOfEach(points.size()));
    if (i == best || sign * differences[i].mean + half_width < 0) continue;
    first = std::min(first, i);
    last = std::max(last, i);
  }
  Extreme extreme{.estimate = {.value = points[best].x, .low = points[first].x, .high = points[last].x},
                  .compared = points.size(),
                  .mean = means[best],
                  .half_width = means[best].HalfWidth(1 - kLevel / static_cast<double>(points.size()))};
  if (first == 0) extreme.estimate.low.reset();
  if (last + 1 == points.size()) extreme.estimate.high.reset();
  if (best + 1 == points.size()) {
    extreme.estimate.note = "at the last usable point: the extreme may lie beyond it";
  } else if (last + 1 == points.size()) {
    extreme.estimate.note = "the last usable point is not excluded: the extreme may lie beyond it";
  }
  return extreme;
}

std::optional<Extreme> FindLargest(std::span<const CurvePoint> points) { return FindExtreme(points, 1); }

std::optional<Extreme> FindSmallest(std::span<const CurvePoint> points) { return FindExtreme(points, -1); }

std::optional<Range> FindStationaryRange(std::span<const CurvePoint> all, double fraction, double from_mean) {
  const auto points = CountingPoints(all);
  const auto logs = LogsOf(std::span(points));
  std::vector<Sample> pairs;
  for (size_t i = 1; i < logs.size(); ++i) pairs.push_back(PairedDifferences(logs[i], logs[i - 1]));
  const VariancePrior of_pairs = PriorOf(pairs), of_points = PriorOf(logs);
  const auto equal = [&](size_t i) {
    if (std::min(GeometricMean(points[i - 1]), GeometricMean(points[i])) < from_mean) return false;
    const LogMean step = DifferenceOf(logs[i], logs[i - 1], of_pairs, of_points);
    return std::abs(step.mean) + step.HalfWidth(0.90) <= std::log1p(fraction);
  };
  size_t best_first = 0, best_last = 0;
  for (size_t i = 1, first = 0; i < points.size(); ++i) {
    if (!equal(i)) first = i;
    if (i - first > best_last - best_first) best_first = first, best_last = i;
  }
  if (best_last == best_first) return std::nullopt;
  Moments inside;
  for (size_t i = best_first; i <= best_last; ++i) {
    for (const double log : logs[i].values) inside.Add(log);
  }
  return Range{points[best_first].x, points[best_last].x, std::exp(inside.mean()), best_last - best_first + 1};
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

static double VarianceOfLogs(const CurvePoint& point) {
  Moments moments;
  for (const double log : LogsOf(point).values) moments.Add(log);
  return moments.Variance();
}

/// CV of sizes whose logarithms are normal with this variance.
static double Variation(double variance_of_logs) { return std::sqrt(std::expm1(variance_of_logs)); }

static double DegreesOf(const CurvePoint& point) { return static_cast<double>(point.trials.size()) - 1; }

std::optional<Window> FindBestWindow(std::span<const CurvePoint> all, double from_mean) {
  auto points = CountingPoints(all);
  std::erase_if(points, [&](const auto& p) { return p.trials.size() < 2 || GeometricMean(p) < from_mean; });
  if (points.empty()) return std::nullopt;
  const auto best = std::min_element(
      points.begin(), points.end(), [](const auto& a, const auto& b) { return VarianceOfLogs(a) < VarianceOfLogs(b); });
  const double variance = VarianceOfLogs(*best);
  size_t first = best - points.begin(), last = first;
  for (size_t i = 0; i < points.size(); ++i) {
    const boost::math::fisher_f ratio(DegreesOf(points[i]), DegreesOf(*best));
    const double bound = boost::math::quantile(boost::math::complement(ratio, LevelOfEach(points.size())));
    if (VarianceOfLogs(points[i]) > bound * variance) continue;
    first = std::min(first, i);
    last = std::max(last, i);
  }
  const boost::math::chi_squared squares(DegreesOf(*best));
  const double tail = kLevel / 2 / static_cast<double>(points.size());
  const double sum = DegreesOf(*best) * variance;
  return Window{{.value = best->x, .low = points[first].x, .high = points[last].x},
                Variation(variance),
                Variation(sum / boost::math::quantile(boost::math::complement(squares, tail))),
                Variation(sum / boost::math::quantile(squares, tail)),
                best->trials.size()};
}

}  // namespace gyrebox::analysis
