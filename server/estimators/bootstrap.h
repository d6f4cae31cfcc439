/// Bootstrap intervals, for estimates without a closed formula.
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Resamples; enough to fix the ends of a 95 % interval to about a twentieth of its width.
constexpr int kDraws = 1000;

/// Central 95 % of the resampled values, and their variance.
struct Quantiles {
  double low = 0, high = 0;
  double variance = 0;  ///< of finite draws
};

/// Resamples every group with replacement, at its own size, and computes a number from the group means of each
/// resample. Deterministic: the generator has a fixed seed.
/// @param number may return infinities, for an estimate outside the range.
Quantiles Bootstrap(std::span<const std::span<const double>> groups,
                    const std::function<double(std::span<const double> means)>& number, int draws = kDraws);

/// Factor by which a bootstrap interval of n values is too narrow, for n of at least 2: its variance of a mean is
/// (n - 1) / n of s^2 / n, and its tails are normal instead of Student's.
double SmallSampleStretch(size_t n);

}  // namespace gyrebox::analysis
