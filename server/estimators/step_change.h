/// Dependence of a size on the time step: the same realizations with the study's step and with half of it.
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Max fraction of the points that hold which are marked as moving: one in 40.
constexpr double kFalseMarks = 0.025;

/// Positive sizes of the runs at one point. Runs of one realization are in both lists, in any order.
struct StepSizes {
  std::vector<double> at_step;  ///< with the study's time step
  std::vector<double> at_half;  ///< with half of it
};

/// Spread over realizations of the logarithm of a size.
struct LogSpread {
  double standard_deviation = 0;
  double degrees_of_freedom = 0;  ///< 0 if unknown
};

/// Pools the squared deviations of both lists of each point from their own means.
LogSpread PoolLogSpread(std::span<const StepSizes> points);

/// Effect of halving the step on a size.
struct StepChange {
  double change = 0;  ///< size with half the step over that with the step, minus 1; by geometric means
  double low = 0, high = 0;
  bool moves = false;
};

/// Compares the means of the logarithms, since sizes are positive and skewed. The size moves if the change exceeds the
/// smaller of 10 % and the spread over realizations, and its interval excludes 0. None if a list is empty or no spread
/// is known.
///
/// Beds are chaotic, so a realization rerun with half the step diverges from the first run after some time: the
/// correlation rho of the two runs lies anywhere from 1 to 0. The test treats them as independent, with the spread s of
/// both lists together. For n pairs the sums and the differences of a pair are independent, with variances in the ratio
/// (1 + rho) / (1 - rho); so t^2 = N^2 / ((X + Y (1 + rho) / (1 - rho)) / 2 (n - 1)), with N normal and X and Y
/// chi-squared of n - 1. That is Student's t with 2 (n - 1) degrees of freedom at rho = 0 and smaller at any rho > 0:
/// the level is at most nominal, however long the runs stay correlated.
///
/// Two to four realizations give a poor estimate of their own spread, at times far too small. So s is the larger of the
/// point's own spread and that pooled over all audited points, each with its own degrees of freedom. Among points that
/// hold and whose spreads differ by a factor of up to 3, false marks stay below the nominal rate on average, and
/// pooling adds power. The level is per point and is divided among the sizes compared there (C. E. Bonferroni): of 40
/// points that hold at most one is marked on average, however many are audited. NIST/SEMATECH e-Handbook of Statistical
/// Methods, section 1.3.5.3, for the test.
/// @param pooled over the audited points, including this one. @param compared number of sizes compared at this point.
std::optional<StepChange> CompareSteps(const StepSizes& sizes, const LogSpread& pooled, int compared);

}  // namespace gyrebox::analysis
