/// Means over runs, and over independent realizations.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <vector>

#include "gyrebox/device.h"

namespace gyrebox {

/// Mean over independent realizations, with its standard error.
struct Mean {
  double value = 0, error = 0;
};

inline Mean MeanOf(const std::vector<double>& starts) {
  double sum = 0, squares = 0;
  for (const double x : starts) sum += x;
  const double n = static_cast<double>(starts.size()), mean = sum / n;
  for (const double x : starts) squares += (x - mean) * (x - mean);
  return {mean, std::sqrt(squares / (n - 1) / n)};
}

/// Welch's t of two sets of independent realizations. Prints both means.
inline double WelchT(const std::vector<double>& a, const std::vector<double>& b) {
  const Mean x = MeanOf(a), y = MeanOf(b);
  std::printf("  %.3g +- %.2g against %.3g +- %.2g\n", x.value, x.error, y.value, y.error);
  return (x.value - y.value) / std::hypot(x.error, y.error);
}

/// Mean of a value over the samples of a run after a step. @param at index of the value.
inline double MeanFrom(const kernels::RunChunk& run, double step, std::size_t at) {
  double sum = 0, count = 0;
  for (const auto& sample : run.samples) {
    if (static_cast<double>(sample.step) <= step) continue;
    sum += sample.values[at];
    ++count;
  }
  return sum / count;
}

/// Mean of a value over each run without its first quarter; expects every run to finish. @param at index of the value.
inline std::vector<double> MeansOfRuns(const std::vector<kernels::RunChunk>& runs, std::int64_t n_steps,
                                       std::size_t at) {
  std::vector<double> means;
  for (const auto& run : runs) {
    EXPECT_EQ(run.verdict, kernels::Verdict::kFinished) << (run.fault ? run.fault->message : "");
    means.push_back(MeanFrom(run, static_cast<double>(n_steps) / 4, at));
  }
  return means;
}

}  // namespace gyrebox
