#include "analysis/statistics.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numeric>

namespace gyrebox::analysis {

/// Lets a sample that is meant to be on the edge of the plateau count.
constexpr double kRoundOff = 1e-9;

double StudentT975(size_t degrees_of_freedom) {
  return boost::math::quantile(boost::math::students_t(static_cast<double>(degrees_of_freedom)), 0.975);
}

Summary Summarise(std::span<const double> values) {
  Summary summary;
  summary.count = values.size();
  if (values.empty()) return summary;
  const auto n = static_cast<double>(values.size());
  const auto [smallest, largest] = std::minmax_element(values.begin(), values.end());
  summary.smallest = *smallest;
  summary.largest = *largest;
  summary.mean = std::accumulate(values.begin(), values.end(), 0.0) / n;
  if (values.size() < 2) return summary;
  const double squares = std::accumulate(values.begin(), values.end(), 0.0, [&](double sum, double value) {
    return sum + (value - summary.mean) * (value - summary.mean);
  });
  summary.standard_deviation = std::sqrt(squares / (n - 1));
  summary.confidence_half_width = StudentT975(values.size() - 1) * summary.standard_deviation / std::sqrt(n);
  return summary;
}

double PlateauStart(double duration, double share) { return duration * (1 - share - kRoundOff); }

}  // namespace gyrebox::analysis
