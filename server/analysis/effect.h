/// How a value answers to a field that is not meant to matter.
#pragma once

#include <optional>
#include <span>

#include "analysis/curve.h"
#include "analysis/slope.h"
#include "analysis/statistics.h"

namespace gyrebox::analysis {

/// What a field does to a value.
struct Effect {
  double from = 0, to = 0;         ///< smallest and largest value of the field that take part
  Difference difference = {};      ///< value at `to` less value at `from`
  double at_from = 0;              ///< mean at `from`
  Slope slope = {};                ///< of all trials against the field
  double relative_slope = 0;       ///< slope over the mean of all trials
  double relative_half_width = 0;  ///< of its 95 % interval; infinite where the trials are too few
};

/// None where fewer than two points take part.
std::optional<Effect> FindEffect(std::span<const CurvePoint> points);

/// A relative spread and its 95 % interval.
struct Spread {
  double value = 0, low = 0, high = 0;
};

/// Interval by chi-squared with these degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, section
/// 1.3.5.8, for the standard deviation; the mean is taken as known).
Spread SpreadWithInterval(double value, double degrees_of_freedom);

/// Standard deviation over mean of trials. None for fewer than two, or a mean of 0.
std::optional<Spread> RelativeSpread(std::span<const double> trials);

}  // namespace gyrebox::analysis
