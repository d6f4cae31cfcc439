/// Series and curves whose true values are known.
#pragma once

#include <cmath>
#include <random>
#include <vector>

#include "estimators/series.h"

namespace gyrebox::test {

/// x' = phi x + e, started in its steady state, with e of unit variance: variance 1 / (1 - phi^2), g = (1 + phi) / (1 -
/// phi).
inline std::vector<double> FirstOrder(double phi, size_t n, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::vector<double> values(n);
  double x = normal(random) / std::sqrt(1 - phi * phi);
  for (double& value : values) {
    value = x;
    x = phi * x + normal(random);
  }
  return values;
}

/// Statistical inefficiency of FirstOrder().
inline double InefficiencyOf(double phi) { return (1 + phi) / (1 - phi); }

/// A series with samples at `interval`, 2 `interval`, ...
inline analysis::Series Sampled(std::vector<double> values, double interval) {
  analysis::Series series;
  for (size_t i = 0; i < values.size(); ++i) series.Add(interval * static_cast<double>(i + 1), values[i]);
  return series;
}

/// Normal values about a mean.
inline std::vector<double> Normal(double mean, double deviation, size_t n, std::mt19937_64& random) {
  std::normal_distribution<double> normal(mean, deviation);
  std::vector<double> values(n);
  for (double& value : values) value = normal(random);
  return values;
}

/// Lognormal values: their logarithms have this standard deviation about that of the median.
inline std::vector<double> LogNormal(double median, double deviation, size_t n, std::mt19937_64& random) {
  std::vector<double> values = Normal(std::log(median), deviation, n, random);
  for (double& value : values) value = std::exp(value);
  return values;
}

}  // namespace gyrebox::test
