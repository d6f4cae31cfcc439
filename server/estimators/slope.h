/// Linear least-squares fits.
#pragma once

#include <span>

#include "estimators/statistics.h"

namespace gyrebox::analysis {

/// A least-squares line and the error of its slope.
struct Slope {
  double value = 0;               ///< of y per x
  double mean_x = 0, mean_y = 0;  ///< a point of the line
  double standard_error = 0;      ///< of the value
  double degrees_of_freedom = 0;  ///< 0 or less for too few points

  /// Half width of the interval of this confidence; infinite without degrees of freedom.
  double HalfWidth(double confidence) const;
  /// Two-sided p-value of the slope if there is none; 1 without degrees of freedom.
  double PValue() const;
};

/// Fits independent points: NIST/SEMATECH e-Handbook of Statistical Methods, section 4.1.4.1.
Slope FitLine(std::span<const double> x, std::span<const double> y);

/// Fits a correlated series; the correlation of its residuals sets the number of independent points, see
/// Inefficiency(). Distinguishes an arrested size from a slowly growing one.
Slope FitSeries(std::span<const double> times, std::span<const double> values);

}  // namespace gyrebox::analysis
