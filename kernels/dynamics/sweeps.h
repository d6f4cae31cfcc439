/// The friction system A V = b, solved by sweeps: each bead takes the motion that balances it while its neighbours keep
/// theirs, and what a sweep changes is carried on by Chebyshev polynomials (the semi-iterative method of Golub & Varga,
/// Numer. Math. 3, 147 (1961), doi:10.1007/BF01386013). A sweep is a pass of the lagged dynamics, and the only one.
///
/// With D the blocks of the beads, the eigenvalues of D^-1 A lie between 0 and 2 (solver_test.cc shows why), so this
/// converges for every bed. How fast depends on the share that is guessed for the lowest of them: here that of all
/// beads moving together, which only the background resists.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

/// What a pass over all beads comes back with. Sums are in a fixed order.
struct SweepSums {
  double residual = 0;  ///< r.r, r = b - A V
  double weight = 0;    ///< (D V).(D V): what the terms of r are like
};
struct FirstSweep : SweepSums {
  double right = 0;  ///< b.b
  /// Sums over the beads of their own block in units of the background drag: of the velocities (mean of both
  /// directions), and of the spin.
  double moving = 0, turning = 0;
};

struct SolverReport {
  double relative_residual = 0;  ///< |b - A V| / |b|; 0 where b is 0
  int iterations = 0;
  bool converged = false;

  /// Another solve after this one: both count, and the residual is that of the motion which is followed.
  GYREBOX_HD void operator+=(const SolverReport& next) {
    relative_residual = next.relative_residual;
    iterations += next.iterations;
    converged = converged && next.converged;
  }
};

/// |b - A V| / |b| from the squares.
GYREBOX_HD double RelativeResidual(double left, double right) { return right > 0 ? Sqrt(left / right) : Sqrt(left); }

/// How well sweeps keep up with forces in which there is noise, where both are in one motion. What they have not yet
/// passed on of the noise of this step is most of |b - A V|, and tells nothing: it has another sign in every step. So
/// what is left of the forces without noise, b0 - A V, is projected on these: |b0 . (b0 - A V)| / (|b0| |b|), b = b0 +
/// noise. What noise there is in the motion V averages out over the beads; no motion at all leaves |b0| / |b|.
/// @param product b0 . (b0 - A V). @param forces b0 . b0. @param right b . b.
GYREBOX_HD double ResidualBesideNoise(double product, double forces, double right) {
  const double scale = Sqrt(forces) * Sqrt(right);
  return scale > 0 ? (product < 0 ? -product : product) / scale : 0;
}

/// Of single precision. A row is the sum of some ten terms, each to half a unit in its last place (6e-8), and what one
/// sweep rounds the next ones carry on; stiff clusters were seen to come to rest at 1.3e-6.
inline constexpr double kFloatRoundOff = 2e-6;

/// How far a solve goes, and how.
struct SolverAim {
  double tolerance = 1e-3;  ///< |b - A V| / |b| of the last motion judged
  /// Lowest eigenvalue of D^-1 A that the sweeps are made for, in shares of the background. Those below fall too, only
  /// slower: where they are a small part of what is to be solved, the sum falls faster for it.
  double lowest = 1;
};

/// Of a step in one go, from the motion of the last one. The lowest eigenvalues are those that took the fewest sweeps
/// in driven beds of 16 384 beads (tests/bench/RESULTS.md). What a high one leaves is mostly slow motion, which weighs
/// less in the residual than in the motion: who asks for a fine tolerance wants that out too.
GYREBOX_HD SolverAim WholeAim(double tolerance) { return {tolerance, tolerance < 3e-4 ? 1.0 : 2.0}; }

/// Of the first solve of a midpoint step, which only says where the middle is, half a step away: its error enters
/// multiplied by what the friction changes over that way, some hundredth. It is let go at so many times the tolerance,
/// and with the motion made last, which is a sweep better than the one judged.
inline constexpr double kHalfwaySlack = 30;
GYREBOX_HD SolverAim HalfwayAim(double tolerance) { return {kHalfwaySlack * tolerance, 1.5}; }
/// Of the second, from there.
GYREBOX_HD SolverAim AimFromHalfway(double tolerance) { return {tolerance, 1.2}; }

/// A component of the motion that a sweep makes from the one judged, the one before, and what D^-1 r adds.
template <class R>
GYREBOX_HD R Carried(R omega, R beyond, R judged, R before, R more) {
  return Fma(omega, more, Fma(beyond, judged - before, judged));  // beyond = omega - 1
}

/// Sweeps that are too few, going by the rate at which the polynomials fall (driven beds were seen to take as many as
/// that gives, or up to half as many again): to judge a motion takes a sum over all beads, which is left out for these.
GYREBOX_HD int SweepsUnjudged(double relative_residual, double tolerance, double radius, int most) {
  const double rate = radius / (1 + Sqrt(1 - radius * radius));
  int sweeps = 0;
  for (; relative_residual > tolerance && sweeps < most; ++sweeps) relative_residual *= rate;
  return sweeps * 3 / 4;
}

/// A solve between two sweeps.
struct SolveCourse {
  bool begun = false;
  double right = 0, radius = 0, omega = 2;
  int unjudged = 0;  ///< sweeps that are not to be judged
  SweepSums sums;    ///< of the motion made last
  SolverReport report;
};

/// Takes up to so many sweeps of a solve. Where it goes on does not matter to what it comes to. @return whether it has
/// ended.
///
/// A System of n beads has a motion V that is judged, the one before, and the one that a sweep makes:
///   FirstSweep Begin()               judges V, and makes the next: V + D^-1 r
///   SweepSums Sweep(double omega, bool judge)
///                                    goes on to the one made, judges it where that is asked for, and makes
///                                    V + (omega - 1)(V - before) + omega D^-1 r
///   kRoundOff                        of its numbers, for a row of the balance
/// It is solved where |r| is the tolerance times |b|, or no more than rounding makes of the terms that r is the sum of.
template <class System>
GYREBOX_HD bool GoOnSolving(System& system, double n, const SolverAim& aim, int most_iterations, int most_sweeps,
                            SolveCourse& course) {
  SolverReport& report = course.report;
  if (!course.begun) {
    const FirstSweep first = system.Begin();
    course.begun = true;
    course.right = first.right;
    course.radius = Max(1 - aim.lowest * Min(n / first.moving, n / first.turning), 0.0);
    course.sums = first;
  }
  for (int taken = 0;; ++taken, ++report.iterations) {
    if (report.iterations == 0 || report.iterations > course.unjudged) {
      report.relative_residual = RelativeResidual(course.sums.residual, course.right);
      report.converged = report.relative_residual <= aim.tolerance ||
                         course.sums.residual <= System::kRoundOff * System::kRoundOff * course.sums.weight;
      if (report.converged || report.iterations == most_iterations) return true;
    }
    if (taken == most_sweeps) return false;
    if (report.iterations == 0) {
      course.unjudged = SweepsUnjudged(report.relative_residual, aim.tolerance, course.radius, most_iterations - 1);
    }
    course.omega = 1 / (1 - course.radius * course.radius * course.omega / 4);
    course.sums = system.Sweep(course.omega, report.iterations >= course.unjudged);
  }
}

/// The same in one go.
template <class System>
GYREBOX_HD SolverReport SolveBySweeps(System& system, double n, const SolverAim& aim, int most_iterations) {
  SolveCourse course;
  GoOnSolving(system, n, aim, most_iterations, most_iterations + 1, course);
  return course.report;
}

}  // namespace gyrebox::kernels
