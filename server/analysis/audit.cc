#include "analysis/audit.h"

#include <algorithm>
#include <cmath>

#include "analysis/statistics.h"

namespace gyrebox::analysis {

constexpr double kMargin = 0.1;
constexpr double kTestLevel = 0.025;
constexpr double kOwnDegrees = 4;  ///< from which the two groups have a spread of their own

LogSpread PoolLogSpread(std::span<const std::span<const double>> points) {
  double squares = 0, degrees = 0;
  for (const auto& sizes : points) {
    Moments moments;
    for (const double size : sizes) {
      if (size > 0) moments.Add(std::log(size));
    }
    if (moments.count() < 2) continue;
    squares += moments.squares();
    degrees += static_cast<double>(moments.count() - 1);
  }
  return {degrees > 0 ? std::sqrt(squares / degrees) : 0, degrees};
}

std::optional<StepChange> CompareSteps(std::span<const StepPair> pairs, const LogSpread& pooled) {
  Moments step, half;
  for (const StepPair& pair : pairs) {
    if (!(pair.at_step > 0 && pair.at_half > 0)) continue;
    step.Add(std::log(pair.at_step));
    half.Add(std::log(pair.at_half));
  }
  if (step.count() == 0) return std::nullopt;
  const auto n = static_cast<double>(step.count());
  LogSpread spread = pooled;
  if (2 * (n - 1) >= kOwnDegrees) {
    spread = {std::sqrt((step.squares() + half.squares()) / (2 * (n - 1))), 2 * (n - 1)};
  }
  if (spread.degrees_of_freedom == 0) return std::nullopt;
  const double change = half.mean() - step.mean(), error = spread.standard_deviation * std::sqrt(2 / n);
  const auto half_width = [&](double level) { return error * StudentT(1 - level / 2, spread.degrees_of_freedom); };
  const double counts = std::min(spread.standard_deviation, std::log1p(kMargin));
  return StepChange{.change = std::expm1(change),
                    .low = std::expm1(change - half_width(0.05)),
                    .high = std::expm1(change + half_width(0.05)),
                    .pairs = step.count(),
                    .moves = std::abs(change) > std::max(counts, half_width(kTestLevel))};
}

}  // namespace gyrebox::analysis
