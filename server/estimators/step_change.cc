#include "estimators/step_change.h"

#include <algorithm>
#include <cmath>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

constexpr double kMargin = 0.1;

namespace {

/// Logarithms of a point's sizes.
struct Logs {
  explicit Logs(const StepSizes& sizes) {
    for (const double size : sizes.at_step) step.Add(std::log(size));
    for (const double size : sizes.at_half) half.Add(std::log(size));
  }

  double squares() const { return step.squares() + half.squares(); }
  double degrees() const { return DegreesOf(step) + DegreesOf(half); }

  Moments step, half;

 private:
  static double DegreesOf(const Moments& moments) {
    return moments.count() == 0 ? 0 : static_cast<double>(moments.count() - 1);
  }
};

}  // namespace

static LogSpread LogSpreadOf(double squares, double degrees) {
  return {degrees > 0 ? std::sqrt(squares / degrees) : 0, degrees};
}

LogSpread PoolLogSpread(std::span<const StepSizes> points) {
  double squares = 0, degrees = 0;
  for (const StepSizes& sizes : points) {
    const Logs logs(sizes);
    squares += logs.squares();
    degrees += logs.degrees();
  }
  return LogSpreadOf(squares, degrees);
}

std::optional<StepChange> CompareSteps(const StepSizes& sizes, const LogSpread& pooled, int compared) {
  const Logs logs(sizes);
  if (logs.step.count() == 0 || logs.half.count() == 0) return std::nullopt;
  const LogSpread own = LogSpreadOf(logs.squares(), logs.degrees());
  const LogSpread& spread = own.standard_deviation >= pooled.standard_deviation ? own : pooled;
  if (!(spread.standard_deviation > 0)) return std::nullopt;
  const double error = spread.standard_deviation * std::sqrt(1 / static_cast<double>(logs.step.count()) +
                                                             1 / static_cast<double>(logs.half.count()));
  const double half_width = error * StudentT(1 - kFalseMarks / (2 * compared), spread.degrees_of_freedom);
  const double change = logs.half.mean() - logs.step.mean();
  const double counts = std::min(spread.standard_deviation, std::log1p(kMargin));
  return StepChange{.change = std::expm1(change),
                    .low = std::expm1(change - half_width),
                    .high = std::expm1(change + half_width),
                    .moves = std::abs(change) > std::max(counts, half_width)};
}

}  // namespace gyrebox::analysis
