/// Plateaus, and means over trials.
#pragma once

#include <cstddef>
#include <span>

namespace gyrebox::analysis {

/// Mean, spread and 95 % confidence interval of the mean of a few independent values.
struct Summary {
  size_t count = 0;
  double mean = 0;                   ///< of at least one value
  double standard_deviation = 0;     ///< of the sample; 0 for fewer than two values
  double confidence_half_width = 0;  ///< t(0.975, count - 1) s / sqrt(count); 0 for fewer than two values
  double smallest = 0;
  double largest = 0;
};

/// Summarises values; all 0 where there are none.
/// The interval is that of the NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.2.
Summary Summarise(std::span<const double> values);

/// The 97.5 % point of Student's t with this many degrees of freedom (at least 1); table in the NIST/SEMATECH
/// e-Handbook of Statistical Methods, section 1.3.6.7.2.
double StudentT975(size_t degrees_of_freedom);

/// Earliest time of a plateau taken over the last share of a run of this length, in tau.
double PlateauStart(double duration, double share);

}  // namespace gyrebox::analysis
