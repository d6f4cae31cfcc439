/// Whether a size depends on the time step: the same starts with the study's step and with half of it.
#pragma once

#include <optional>
#include <span>

namespace gyrebox::analysis {

/// Sizes of one start.
struct StepPair {
  double at_step = 0;  ///< with the study's time step
  double at_half = 0;  ///< with half of it
};

/// Spread over starts of the logarithm of a size, pooled over points.
struct LogSpread {
  double standard_deviation = 0;
  double degrees_of_freedom = 0;  ///< 0 where it is not known
};

/// Pools the spread of the logarithms of the sizes of each point about their mean.
LogSpread PoolLogSpread(std::span<const std::span<const double>> points);

/// What half the step changes.
struct StepChange {
  double change = 0;         ///< size with half the step over that with the step, less 1; by geometric means
  double low = 0, high = 0;  ///< its 95 % interval
  size_t pairs = 0;
  bool moves = false;
};

/// Compares the means of the logarithms, since sizes are positive and skewed. Runs of one start are taken as
/// independent where the beds are chaotic, which only widens the interval where they are not. The spread is that of the
/// two groups where they have four degrees of freedom or more, else the pooled one. A size moves where its change is
/// over the spread over starts or over 10 %, whichever is smaller, and a two-sided t test at 2.5 % finds it: of 40
/// points that hold, one is marked falsely at most on average. None where there is no pair, or no spread to judge by.
/// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3, for the test.
std::optional<StepChange> CompareSteps(std::span<const StepPair> pairs, const LogSpread& pooled);

}  // namespace gyrebox::analysis
