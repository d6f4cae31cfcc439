#include "estimators/memory.h"

#include <algorithm>
#include <cmath>

namespace gyrebox::analysis {

/// 95 %, 90 % and 80 % points of the normal distribution: a one-sided test at 5 %, and a power of 80 %, split between
/// two tests or of one.
constexpr double kNormal95 = 1.6448536269514722, kNormal90 = 1.2815515655446004, kNormal80 = 0.8416212335729143;

static Trace TraceOf(const CurvePoint& point, const Memory& memory) {
  Trace trace{.x = point.x};
  trace.difference = WelchDifference(Summarise(point.trials), memory.reference);
  trace.half_width = trace.difference.HalfWidth(0.90);
  trace.erased = Judge(trace.difference, memory.margin) == Verdict::kEqual;
  trace.kept = std::abs(trace.difference.value) - trace.half_width > memory.margin;
  const Summary values = Summarise(point.trials);
  const double spread = std::hypot(values.standard_deviation, memory.reference.standard_deviation) / std::sqrt(2.0);
  trace.trials_needed = TrialsToTell(trace.difference.value, spread, memory.margin);
  return trace;
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

static double MiddleHalfWidth(const std::vector<Trace>& traces) {
  std::vector<double> widths;
  for (const Trace& trace : traces) widths.push_back(trace.half_width);
  std::nth_element(widths.begin(), widths.begin() + static_cast<std::ptrdiff_t>(widths.size() / 2), widths.end());
  return widths[widths.size() / 2];
}

std::optional<Memory> FindMemory(std::span<const CurvePoint> all, double equal_fraction) {
  auto points = CountingPoints(all);
  std::erase_if(points, [](const CurvePoint& point) { return point.trials.size() < 2; });
  if (points.size() < 2) return std::nullopt;
  Memory memory{.reference_x = points.back().x, .reference = Summarise(points.back().trials)};
  memory.margin = equal_fraction * std::abs(memory.reference.mean);
  points.pop_back();
  for (const CurvePoint& point : points) memory.traces.push_back(TraceOf(point, memory));
  memory.reset = FindReset(memory);
  memory.resolved = MiddleHalfWidth(memory.traces);
  return memory;
}

/// Realizations per group for which this distance is the sum of a test's two normal points times the standard error of
/// a difference.
static int TrialsFor(double normal_points, double standard_deviation, double distance) {
  const double ratio = normal_points * standard_deviation / distance;
  constexpr double kMax = 1e6;
  return std::max(2, static_cast<int>(std::min(kMax, std::ceil(2 * ratio * ratio))));
}

int TrialsToResolve(double standard_deviation, double margin) {
  return TrialsFor(kNormal95 + kNormal90, standard_deviation, margin);
}

int TrialsToTell(double difference, double standard_deviation, double margin) {
  if (difference == 0) return TrialsToResolve(standard_deviation, margin);
  return TrialsFor(kNormal95 + kNormal80, standard_deviation, std::abs(std::abs(difference) - margin));
}

IntervalEstimate MemoryIndex(std::span<const double> values, std::span<const double> untouched,
                             std::span<const double> reference) {
  if (values.empty() || untouched.empty() || reference.empty()) return {.note = "a plateau is missing"};
  const Difference over = WelchDifference(values, reference), under = WelchDifference(untouched, reference);
  IntervalEstimate index{.value = over.value / under.value};
  const double degrees = std::min(over.degrees_of_freedom, under.degrees_of_freedom);
  if (!(degrees > 0)) {
    index.note = "no interval: each point needs two realizations";
    return index;
  }
  const Summary shared = Summarise(reference);
  const double covariance = shared.standard_deviation * shared.standard_deviation / static_cast<double>(shared.count);
  const double t = StudentT(0.975, degrees), t2 = t * t;
  // Roots of (over - r under)^2 = t^2 var(over - r under).
  const double a = under.value * under.value - t2 * under.standard_error * under.standard_error;
  const double b = over.value * under.value - t2 * covariance;
  const double c = over.value * over.value - t2 * over.standard_error * over.standard_error;
  const double root = b * b - a * c;
  if (a <= 0 || root < 0) {
    index.value.reset();
    index.note = "the plateau without a middle stage is not distinguishable from the reference: no imprint to erase";
    return index;
  }
  index.low = (b - std::sqrt(root)) / a;
  index.high = (b + std::sqrt(root)) / a;
  return index;
}

}  // namespace gyrebox::analysis
