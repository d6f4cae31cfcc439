/// Intervals of what no formula covers, by drawing the trials anew.
#pragma once

#include <cstddef>
#include <functional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Enough for the ends of a 95 % interval to be good to a twentieth of its width or so.
constexpr int kDraws = 1000;

/// The middle 95 % of what was drawn, and its variance.
struct Quantiles {
  double low = 0, high = 0;
  double variance = 0;  ///< of finite draws
};

/// Draws every group anew, with replacement and as many values as it has, and works out a number from the groups'
/// means, again and again. The same groups give the same answer: the generator starts from a fixed seed.
/// @param number may return infinities, for a place beyond the ends.
Quantiles Bootstrap(std::span<const std::span<const double>> groups,
                    const std::function<double(std::span<const double> means)>& number, int draws = kDraws);

/// How much too narrow a bootstrap of n values is, at least 2: its variance of a mean is (n - 1) / n of s^2 / n, and
/// its tails are those of a normal distribution where Student's are due.
double SmallSampleStretch(size_t n);

}  // namespace gyrebox::analysis
