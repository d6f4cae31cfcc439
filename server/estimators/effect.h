/// Sensitivity of a value to a field that should not matter.
#pragma once

#include <optional>
#include <span>

#include "estimators/curve.h"
#include "estimators/slope.h"
#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// Effect of a field on a value, relative to the value: on the logarithmic scale.
struct Effect {
  double from = 0, to = 0;  ///< smallest and largest usable value of the field
  LogMean change = {};      ///< logarithm of the value at `to` over that at `from`
  Slope slope = {};         ///< of the logarithms of all realizations against the field, within their starts
};

/// Realizations that start alike have a level of their own, which the slope leaves out: it is that of the deviations
/// from the mean of each start, with a degree of freedom less for each (block design: NIST/SEMATECH e-Handbook of
/// Statistical Methods, section 5.3.3.2). None for fewer than two usable points.
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
