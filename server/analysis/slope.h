/// Straight lines through data.
#pragma once

#include <span>

#include "analysis/statistics.h"

namespace gyrebox::analysis {

/// A straight line by least squares, and how well its slope is known.
struct Slope {
  double value = 0;               ///< of y per x
  double mean_x = 0, mean_y = 0;  ///< a point of the line
  double standard_error = 0;      ///< of the value
  double degrees_of_freedom = 0;  ///< 0 or less where the points are too few to tell

  /// Half width of the interval of this confidence; infinite without degrees of freedom.
  double HalfWidth(double confidence) const;
  /// Chance of a slope at least this steep, up or down, where there is none; 1 without degrees of freedom.
  double Chance() const;
};

/// Points that are independent of each other: NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4.1.
Slope FitLine(std::span<const double> x, std::span<const double> y);

/// A series whose neighbours are alike: as many independent points as its residuals are worth, see Inefficiency().
/// Tells a size that has stopped growing from one that grows slowly.
Slope FitSeries(std::span<const double> times, std::span<const double> values);

}  // namespace gyrebox::analysis
