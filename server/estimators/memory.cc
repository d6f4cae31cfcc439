#include "estimators/memory.h"

#include <algorithm>
#include <cmath>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

static double Median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// Standard deviation of one of two samples of which this is the difference.
static double SpreadOf(const LogMean& difference) {
  return difference.standard_error * std::sqrt(static_cast<double>(difference.count) / 2);
}

static Trace TraceOf(double x, const LogMean& difference, double margin) {
  Trace trace{.x = x, .difference = difference, .half_width = difference.HalfWidth(0.90)};
  trace.erased = std::abs(difference.mean) + trace.half_width <= margin;
  return trace;
}

/// p-value of the hypothesis that a difference lies within the margin.
static double PValueWithin(const LogMean& difference, double margin) {
  const double beyond = std::abs(difference.mean) - margin;
  if (!(difference.degrees_of_freedom > 0) || beyond <= 0) return 1;
  return TwoSidedPValue(beyond / difference.standard_error, difference.degrees_of_freedom) / 2;
}

static void FindKept(Memory* memory) {
  std::vector<double> p_values;
  for (const Trace& trace : memory->traces) p_values.push_back(PValueWithin(trace.difference, memory->margin));
  const auto kept = HolmRejects(p_values, 0.05);
  for (size_t i = 0; i < kept.size(); ++i) {
    Trace& trace = memory->traces[i];
    trace.kept = kept[i];
    if (trace.kept || trace.erased) continue;
    trace.trials_needed = TrialsToTell(trace.difference.mean, SpreadOf(trace.difference), memory->margin);
  }
}

static IntervalEstimate FindReset(const Memory& memory) {
  const auto& traces = memory.traces;
  size_t first = traces.size();
  while (first > 0 && traces[first - 1].erased) --first;
  IntervalEstimate reset;
  for (size_t i = first; i-- > 0 && !reset.low;) {
    if (traces[i].kept) reset.low = traces[i].x;
  }
  if (first == traces.size()) {
    reset.note = traces.back().kept
                     ? "not reached in this range"
                     : "not shown in this range: cannot tell above the last amplitude that is not erased";
    return reset;
  }
  reset.value = reset.high = traces[first].x;
  if (first == 0) {
    reset.note = "erased at every amplitude tried";
  } else if (!traces[first - 1].kept) {
    reset.note = "cannot tell whether weaker stages erase too";
  }
  return reset;
}

std::optional<Memory> FindMemory(std::span<const CurvePoint> all, double equal_fraction,
                                 const CurvePoint* as_prepared) {
  auto points = CountingPoints(all);
  std::erase_if(points, [](const CurvePoint& point) { return point.trials.size() < 2; });
  if (points.size() < 2 || (as_prepared != nullptr && as_prepared->trials.size() < 2)) return std::nullopt;
  Memory memory{.margin = std::log1p(equal_fraction)};
  Sample reference;
  if (as_prepared != nullptr) {
    reference = LogsOf(*as_prepared);
  } else {
    reference = LogsOf(points.back());
    memory.reference_x = points.back().x;
    points.pop_back();
  }
  std::vector<Sample> logs;
  for (const CurvePoint& point : points) logs.push_back(LogsOf(point));
  std::vector<Sample> family = logs;
  family.push_back(reference);
  memory.reference = MeansOf(family).back();
  const auto differences = DifferencesFrom(logs, reference);
  std::vector<double> widths, spreads;
  for (size_t i = 0; i < points.size(); ++i) {
    memory.traces.push_back(TraceOf(points[i].x, differences[i], memory.margin));
    widths.push_back(memory.traces.back().half_width);
    spreads.push_back(SpreadOf(differences[i]));
  }
  FindKept(&memory);
  memory.reset = FindReset(memory);
  memory.resolved = Median(widths);
  memory.spread = Median(spreads);
  return memory;
}

/// Realizations per group for which this distance is the sum of two quantiles of Student's t times the standard error
/// of a mean difference of pairs.
static int TrialsFor(double first, double second, double standard_deviation, double distance) {
  constexpr int kMax = 1000;
  const double variance = 2 * standard_deviation * standard_deviation / (distance * distance);
  const auto too_few = [&](int n) {
    const double quantiles = StudentT(first, n - 1) + StudentT(second, n - 1);
    return variance * quantiles * quantiles > n;
  };
  int below = 1, enough = kMax;
  while (enough - below > 1) {
    const int middle = (below + enough) / 2;
    (too_few(middle) ? below : enough) = middle;
  }
  return enough;
}

int TrialsToResolve(double standard_deviation, double margin) {
  return TrialsFor(0.95, 0.90, standard_deviation, margin);
}

int TrialsToTell(double difference, double standard_deviation, double margin) {
  if (difference == 0) return TrialsToResolve(standard_deviation, margin);
  return TrialsFor(0.95, 0.80, standard_deviation, std::abs(std::abs(difference) - margin));
}

/// Covariance of the means of two samples; 0 where they share no two starts.
static double CovarianceOfMeans(const Sample& first, const Sample& second) {
  double sum = 0, mean_first = 0, mean_second = 0, pairs = 0;
  for (size_t i = 0; i < first.starts.size(); ++i) {
    const auto found = std::lower_bound(second.starts.begin(), second.starts.end(), first.starts[i]);
    if (found == second.starts.end() || *found != first.starts[i]) continue;
    const double a = first.values[i], b = second.values[found - second.starts.begin()];
    ++pairs;
    const double from_old = a - mean_first;
    mean_first += from_old / pairs;
    mean_second += (b - mean_second) / pairs;
    sum += from_old * (b - mean_second);
  }
  const auto n = static_cast<double>(first.values.size()), m = static_cast<double>(second.values.size());
  return pairs < 2 ? 0 : sum / (pairs - 1) * pairs / (n * m);
}

/// Degrees of freedom of a ratio of differences: those of pairs, or of independent samples where none share starts.
static double DegreesOf(const Sample& v, const Sample& u, const Sample& s, size_t fewest) {
  const bool pairs = !PairedDifferences(v, u).values.empty() || !PairedDifferences(s, u).values.empty() ||
                     !PairedDifferences(v, s).values.empty();
  if (pairs) return static_cast<double>(fewest) - 1;
  return std::min(DifferenceOf(v, u, {}, {}).degrees_of_freedom, DifferenceOf(s, u, {}, {}).degrees_of_freedom);
}

IntervalEstimate Imprint(const CurvePoint& point, const CurvePoint& untouched, const CurvePoint& strongest) {
  const Sample v = LogsOf(point), u = LogsOf(untouched), s = LogsOf(strongest);
  if (v.values.empty() || u.values.empty() || s.values.empty()) return {.note = "a plateau is missing"};
  const double base = MeanOf(u, {}).mean;
  const double over = MeanOf(v, {}).mean - base, under = MeanOf(s, {}).mean - base;
  IntervalEstimate imprint{.value = over / under};
  const size_t fewest = std::min({v.values.size(), u.values.size(), s.values.size()});
  if (fewest < 2) {
    imprint.note = "no interval: each point needs two realizations";
    return imprint;
  }
  const double of_base = CovarianceOfMeans(u, u), with_v = CovarianceOfMeans(v, u), with_s = CovarianceOfMeans(s, u);
  const double of_over = CovarianceOfMeans(v, v) + of_base - 2 * with_v;
  const double of_under = CovarianceOfMeans(s, s) + of_base - 2 * with_s;
  const double of_both = CovarianceOfMeans(v, s) - with_v - with_s + of_base;
  const double t = StudentT(0.975, DegreesOf(v, u, s, fewest)), t2 = t * t;
  // Roots of (over - r under)^2 = t^2 var(over - r under).
  const double a = under * under - t2 * of_under;
  const double b = over * under - t2 * of_both;
  const double c = over * over - t2 * of_over;
  const double root = b * b - a * c;
  if (a <= 0 || root < 0) {
    imprint.value.reset();
    imprint.note = "the strongest middle stage leaves no imprint that is distinguishable from none";
    return imprint;
  }
  imprint.low = (b - std::sqrt(root)) / a;
  imprint.high = (b + std::sqrt(root)) / a;
  return imprint;
}

}  // namespace gyrebox::analysis
