/// Means over independent samples, compared with their expected values.
#pragma once

#include <gtest/gtest.h>

#include <cmath>

namespace gyrebox {

/// Mean and standard error of a number over independent samples.
struct Estimate {
  double sum = 0, squares = 0;
  int count = 0;
  void Add(double value) {
    sum += value;
    squares += value * value;
    ++count;
  }
  double mean() const { return sum / count; }
  double error() const { return std::sqrt((squares / count - mean() * mean()) / (count - 1)); }
};

/// Expects agreement within five standard errors (two-sided: false-positive probability 6e-7), and a standard error
/// below a fraction of the value, 0.5 % by default.
inline void ExpectAgrees(const Estimate& estimate, double truth, double largest_error_share = 0.005) {
  EXPECT_LT(estimate.error(), largest_error_share * std::abs(truth));
  EXPECT_NEAR(estimate.mean(), truth, 5 * estimate.error());
}

}  // namespace gyrebox
