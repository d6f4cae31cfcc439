#include "estimators/statistics.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numeric>
#include <vector>

namespace gyrebox::analysis {

double Moments::Variance() const { return count_ < 2 ? 0 : squares_ / static_cast<double>(count_ - 1); }

double StudentT(double probability, double degrees_of_freedom) {
  return boost::math::quantile(boost::math::students_t(degrees_of_freedom), probability);
}

double TwoSidedPValue(double t, double degrees_of_freedom) {
  return 2 * boost::math::cdf(boost::math::complement(boost::math::students_t(degrees_of_freedom), std::abs(t)));
}

Summary Summarise(std::span<const double> values) {
  Summary summary;
  summary.count = values.size();
  if (values.empty()) return summary;
  const auto [smallest, largest] = std::minmax_element(values.begin(), values.end());
  summary.smallest = *smallest;
  summary.largest = *largest;
  Moments moments;
  for (const double value : values) moments.Add(value);
  summary.mean = moments.mean();
  if (values.size() < 2) return summary;
  const auto n = static_cast<double>(values.size());
  summary.standard_deviation = std::sqrt(moments.Variance());
  summary.confidence_half_width = StudentT(0.975, n - 1) * summary.standard_deviation / std::sqrt(n);
  return summary;
}

std::vector<bool> HolmRejects(std::span<const double> p_values, double level) {
  std::vector<size_t> order(p_values.size());
  std::iota(order.begin(), order.end(), 0);
  std::sort(order.begin(), order.end(), [&](size_t a, size_t b) { return p_values[a] < p_values[b]; });
  std::vector<bool> rejected(p_values.size(), false);
  for (size_t k = 0; k < order.size(); ++k) {
    if (!(p_values[order[k]] <= level / static_cast<double>(order.size() - k))) break;
    rejected[order[k]] = true;
  }
  return rejected;
}

double LagOneCorrelation(std::span<const double> values) {
  Moments moments;
  for (const double value : values) moments.Add(value);
  double products = 0;
  for (size_t i = 1; i < values.size(); ++i) {
    products += (values[i] - moments.mean()) * (values[i - 1] - moments.mean());
  }
  return products / moments.squares();
}

}  // namespace gyrebox::analysis
