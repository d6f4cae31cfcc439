/// Sizes at the points of a curve whose realizations start from the same beds: lognormal, with known true values.
#pragma once

#include <cmath>
#include <random>
#include <vector>

#include "estimators/curve.h"

namespace gyrebox::test {

/// The true distribution at a point.
struct TruePoint {
  double x = 0;
  double median = 1;       ///< true geometric mean
  double deviation = 0.3;  ///< standard deviation of the logarithm: CV of about as much
  double correlation = 0;  ///< of the logarithms of one start with those at other points of correlation 1
};

/// Beds below the onset remember their start, with a correlation of 0.95 between points; above it they do not.
inline std::vector<TruePoint> CurveWithOnset(const std::vector<double>& medians, double level) {
  std::vector<TruePoint> curve;
  for (size_t i = 0; i < medians.size(); ++i) {
    const bool below = medians[i] < level;
    curve.push_back({4.0 * static_cast<double>(i + 1), medians[i], below ? 0.15 : 0.3, below ? 0.95 : 0});
  }
  return curve;
}

/// One study of this curve.
inline std::vector<analysis::CurvePoint> DrawStudy(const std::vector<TruePoint>& curve, size_t starts,
                                                   std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  std::vector<double> common(starts);
  for (double& one : common) one = normal(random);
  std::vector<analysis::CurvePoint> study;
  for (const TruePoint& truth : curve) {
    analysis::CurvePoint& point = study.emplace_back();
    point.x = truth.x;
    for (size_t k = 0; k < starts; ++k) {
      const double z = std::sqrt(truth.correlation) * common[k] + std::sqrt(1 - truth.correlation) * normal(random);
      point.trials.push_back(truth.median * std::exp(truth.deviation * z));
      point.starts.push_back(static_cast<int>(k) + 1);
    }
  }
  return study;
}

}  // namespace gyrebox::test
