/// Solves the friction system A V = b by sweeps: each bead takes the motion that balances it while its neighbours keep
/// theirs, and Chebyshev polynomials accelerate the sweeps (the semi-iterative method of Golub & Varga, Numer. Math. 3,
/// 147 (1961), doi:10.1007/BF01386013). A lagged step takes exactly one such sweep as its only pass.
///
/// With D the blocks of the beads, the eigenvalues of D^-1 A lie between 0 and 2 (see solver_test.cc), so the
/// sweeps converge for every bed. The rate depends on the estimate of the lowest eigenvalue: here that of all beads
/// moving together, which only the background drag resists.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

/// Sums over all beads that a pass returns, in a fixed order.
struct SweepSums {
  double residual = 0;  ///< r.r, r = b - A V
  double weight = 0;    ///< (D V).(D V): magnitude of the terms of r
};
struct FirstSweep : SweepSums {
  double right = 0;  ///< b.b
  /// Sums over beads of the own block in units of the background drag: velocities (mean of both directions) and spin.
  double moving = 0, turning = 0;
};

struct SolverReport {
  double relative_residual = 0;  ///< |b - A V| / |b|; 0 where b is 0
  int iterations = 0;
  bool converged = false;

  /// Adds a later solve: iterations accumulate, and the residual is that of the later one, whose motion is used.
  GYREBOX_HD void operator+=(const SolverReport& next) {
    relative_residual = next.relative_residual;
    iterations += next.iterations;
    converged = converged && next.converged;
  }
};

/// |b - A V| / |b| from the squared norms.
GYREBOX_HD double RelativeResidual(double left, double right) { return right > 0 ? Sqrt(left / right) : Sqrt(left); }

/// Residual of sweeps where one motion follows both athermal forces and noise. Most of |b - A V| is noise of this step
/// that the sweeps have not yet passed on; it changes sign every step and carries no information. The residual of the
/// athermal forces, b0 - A V, is therefore projected on these: |b0 . (b0 - A V)| / (|b0| |b|), b = b0 + noise. The
/// noise in V averages out over the beads; no motion at all gives |b0| / |b|.
/// @param product b0 . (b0 - A V). @param forces b0 . b0. @param right b . b.
GYREBOX_HD double ResidualBesideNoise(double product, double forces, double right) {
  const double scale = Sqrt(forces) * Sqrt(right);
  return scale > 0 ? (product < 0 ? -product : product) / scale : 0;
}

/// Relative round-off in single precision. A row sums some ten terms, each accurate to half a unit in the last place
/// (6e-8), and later sweeps propagate the rounding of earlier ones. The residual of stiff clusters levelled off at
/// 1.3e-6.
inline constexpr double kFloatRoundOff = 2e-6;

/// Target of a solve.
struct SolverAim {
  double tolerance = 1e-3;  ///< max |b - A V| / |b| of the final motion
  /// Lowest eigenvalue of D^-1 A that the polynomials target, in units of the background's. Modes below it also decay,
  /// but more slowly; where they are a small part of the error, a higher value reduces the residual faster.
  double lowest = 1;
};

/// Target of a step with a single solve, which starts from the last step's motion. These lowest eigenvalues took the
/// fewest sweeps in driven beds of 16 384 beads (tests/bench/RESULTS.md). A high value leaves mostly slow modes, which
/// weigh less in the residual than in the motion; a fine tolerance has to remove those too.
GYREBOX_HD SolverAim WholeAim(double tolerance) { return {tolerance, tolerance < 3e-4 ? 1.0 : 2.0}; }

/// Target of the first solve of a midpoint step, which only locates the midpoint, half a step away. Its error is
/// multiplied by the change of friction over that distance, about a hundredth. The solve therefore stops at this
/// multiple of the tolerance and uses the latest motion, one sweep better than the last judged one.
inline constexpr double kHalfwaySlack = 30;
GYREBOX_HD SolverAim HalfwayAim(double tolerance) { return {kHalfwaySlack * tolerance, 1.5}; }
/// Target of the second solve, which starts from the first one's motion.
GYREBOX_HD SolverAim AimFromHalfway(double tolerance) { return {tolerance, 1.2}; }

/// One component of a sweep's new motion, from the judged motion, the one before it, and the correction D^-1 r.
template <class R>
GYREBOX_HD R Carried(R omega, R beyond, R judged, R before, R more) {
  return Fma(omega, more, Fma(beyond, judged - before, judged));  // beyond = omega - 1
}

/// Number of sweeps that are certainly too few, from the convergence rate of the polynomials. Driven beds took as many
/// sweeps as that rate gives, or up to half as many again. Judging a motion takes a sum over all beads, which these
/// sweeps skip.
GYREBOX_HD int SweepsUnjudged(double relative_residual, double tolerance, double radius, int most) {
  const double rate = radius / (1 + Sqrt(1 - radius * radius));
  int sweeps = 0;
  for (; relative_residual > tolerance && sweeps < most; ++sweeps) relative_residual *= rate;
  return sweeps * 3 / 4;
}

/// State of a solve between two sweeps.
struct SolveCourse {
  bool begun = false;
  double right = 0, radius = 0, omega = 2;
  int unjudged = 0;  ///< sweeps whose motion is not judged
  SweepSums sums;    ///< of the latest motion
  SolverReport report;
};

/// Takes up to max_sweeps sweeps of a solve. How a solve is split into calls does not change its result. @return
/// whether it has ended.
///
/// To judge a motion means to compute its residual. A System of n beads holds the judged motion V, the one before it,
/// and the one that a sweep computes:
///   FirstSweep Begin()               judges V and computes the next motion: V + D^-1 r
///   SweepSums Sweep(double omega, bool judge)
///                                    advances to the computed motion, judges it if asked to, and computes
///                                    V + (omega - 1)(V - before) + omega D^-1 r
///   kRoundOff                        relative round-off of a row of the balance
/// The solve has converged where |r| is at most the tolerance times |b|, or at most the round-off of the terms of r.
template <class System>
GYREBOX_HD bool GoOnSolving(System& system, double n, const SolverAim& aim, int max_iterations, int max_sweeps,
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
      if (report.converged || report.iterations == max_iterations) return true;
    }
    if (taken == max_sweeps) return false;
    if (report.iterations == 0) {
      course.unjudged = SweepsUnjudged(report.relative_residual, aim.tolerance, course.radius, max_iterations - 1);
    }
    course.omega = 1 / (1 - course.radius * course.radius * course.omega / 4);
    course.sums = system.Sweep(course.omega, report.iterations >= course.unjudged);
  }
}

/// Runs a whole solve.
template <class System>
GYREBOX_HD SolverReport SolveBySweeps(System& system, double n, const SolverAim& aim, int max_iterations) {
  SolveCourse course;
  GoOnSolving(system, n, aim, max_iterations, max_iterations + 1, course);
  return course.report;
}

}  // namespace gyrebox::kernels
