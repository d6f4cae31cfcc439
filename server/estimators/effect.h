/// Sensitivity of a value to a field that should not matter.
#pragma once

#include <optional>
#include <span>

#include "estimators/curve.h"
#include "estimators/slope.h"
#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// Effect of a field on a value.
struct Effect {
  double from = 0, to = 0;         ///< smallest and largest usable value of the field
  Difference difference = {};      ///< value at `to` minus value at `from`
  double at_from = 0;              ///< mean at `from`
  Slope slope = {};                ///< of all realizations against the field
  double relative_slope = 0;       ///< slope over the mean of all realizations
  double relative_half_width = 0;  ///< of its 95 % interval; infinite for too few realizations
};

/// None for fewer than two usable points.
std::optional<Effect> FindEffect(std::span<const CurvePoint> points);

/// A relative spread and its 95 % interval.
struct Spread {
  double value = 0, low = 0, high = 0;
};

/// Interval by chi-squared with these degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, section
/// 1.3.5.8, for the standard deviation; the mean is taken as known).
Spread SpreadWithInterval(double value, double degrees_of_freedom);

/// Standard deviation over mean of realizations. None for fewer than two, or for a mean of 0.
std::optional<Spread> RelativeSpread(std::span<const double> trials);

}  // namespace gyrebox::analysis
