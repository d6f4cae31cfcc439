/// Whether a size depends on the time step: the same starts with the study's step and with half of it.
#pragma once

#include <optional>
#include <span>
#include <vector>

namespace gyrebox::analysis {

/// Fraction of the points that hold which are said to move, at most: one in 40.
constexpr double kFalseMarks = 0.025;

/// A size at one point, over 0, by run. Runs of one start are in both lists, in any order.
struct StepSizes {
  std::vector<double> at_step;  ///< with the study's time step
  std::vector<double> at_half;  ///< with half of it
};

/// Spread over starts of the logarithm of a size.
struct LogSpread {
  double standard_deviation = 0;
  double degrees_of_freedom = 0;  ///< 0 where it is not known
};

/// Pools the squares of both lists of each point about their own means.
LogSpread PoolLogSpread(std::span<const StepSizes> points);

/// What half the step changes.
struct StepChange {
  double change = 0;  ///< size with half the step over that with the step, less 1; by geometric means
  double low = 0, high = 0;
  bool moves = false;
};

/// Compares the means of the logarithms, as sizes are positive and skewed. The size moves where the change is over the
/// spread over starts or over 10 %, whichever is smaller, and its interval leaves out 0. None where a list is empty or
/// there is no spread to judge by.
///
/// A start that is run again with half the step goes its own way after some time, as beds are chaotic: the correlation
/// rho of the two runs is anything from 1 to 0. They are compared as if they were independent, with the spread s of
/// both lists together. For n pairs the sums and the differences of a pair are independent, with variances in the ratio
/// (1 + rho) / (1 - rho); so t^2 = N^2 / ((X + Y (1 + rho) / (1 - rho)) / 2 (n - 1)), with N normal and X and Y
/// chi-squared of n - 1. That is Student's t with 2 (n - 1) degrees of freedom at rho = 0 and smaller at any rho > 0:
/// the level is at most the nominal one however long the runs remember their start.
///
/// Two to four starts tell their own spread badly, and by luck far too small. So s is the larger of the point's own and
/// that pooled over all audited points, each with its own degrees of freedom: among points that hold and whose spreads
/// differ by a factor of up to 3, false marks stay below the nominal rate on average, and the pooled one lends power.
/// The level is that of one point and is shared by the sizes compared there (C. E. Bonferroni): of 40 points that hold
/// at most one is marked on average, however many are audited.
/// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3, for the test.
/// @param pooled of the audited points, this one among them. @param compared number of sizes that are compared here.
std::optional<StepChange> CompareSteps(const StepSizes& sizes, const LogSpread& pooled, int compared);

}  // namespace gyrebox::analysis
