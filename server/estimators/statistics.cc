#include "estimators/statistics.h"

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <limits>
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

double Difference::HalfWidth(double confidence) const {
  if (!(degrees_of_freedom > 0)) return std::numeric_limits<double>::infinity();
  return StudentT((1 + confidence) / 2, degrees_of_freedom) * standard_error;
}

static double Square(double x) { return x * x; }

Difference WelchDifference(const Summary& first, const Summary& second) {
  Difference difference{.value = first.mean - second.mean};
  if (first.count < 2 || second.count < 2) return difference;
  const auto n = static_cast<double>(first.count), m = static_cast<double>(second.count);
  const double a = Square(first.standard_deviation) / n, b = Square(second.standard_deviation) / m;
  difference.standard_error = std::sqrt(a + b);
  difference.degrees_of_freedom = a + b > 0 ? Square(a + b) / (a * a / (n - 1) + b * b / (m - 1)) : n + m - 2;
  return difference;
}

Difference WelchDifference(std::span<const double> first, std::span<const double> second) {
  return WelchDifference(Summarise(first), Summarise(second));
}

Difference PairedDifference(std::span<const double> first, std::span<const double> second) {
  Moments moments;
  for (size_t i = 0; i < std::min(first.size(), second.size()); ++i) moments.Add(first[i] - second[i]);
  Difference difference{.value = moments.mean()};
  if (moments.count() < 2) return difference;
  const auto n = static_cast<double>(moments.count());
  difference.standard_error = std::sqrt(moments.Variance() / n);
  difference.degrees_of_freedom = n - 1;
  return difference;
}

Verdict Judge(const Difference& difference, double margin) {
  const double distance = std::abs(difference.value);
  if (distance + difference.HalfWidth(0.90) <= margin) return Verdict::kEqual;
  return distance > difference.HalfWidth(0.95) ? Verdict::kDifferent : Verdict::kUnclear;
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
