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

/// Of single precision. A row is the sum of some ten terms, each to half a unit in its last place (6e-8), and what one
/// sweep rounds the next ones carry on; stiff clusters were seen to come to rest at 1.3e-6.
inline constexpr double kFloatRoundOff = 2e-6;

/// The first solve of a midpoint step only says where the middle is, half a step away: its error enters multiplied by
/// what the friction changes over that way. It is let go at so many times the tolerance.
inline constexpr double kHalfwaySlack = 10;

/// A component of the motion that a sweep makes from the one judged, the one before, and what D^-1 r adds.
template <class R>
GYREBOX_HD R Carried(R omega, R beyond, R judged, R before, R more) {
  return Fma(omega, more, Fma(beyond, judged - before, judged));  // beyond = omega - 1
}

/// A System of n beads has a motion V that is judged, the one before, and the one that a sweep makes:
///   FirstSweep Begin()               judges V, and makes the next: V + D^-1 r
///   SweepSums Sweep(double omega)    goes on to the one made, judges it, and makes V + (omega - 1)(V - before)
///                                    + omega D^-1 r
///   kRoundOff                        of its numbers, for a row of the balance
/// It is solved where |r| is the tolerance times |b|, or no more than rounding makes of the terms that r is the sum of.
template <class System>
GYREBOX_HD SolverReport SolveBySweeps(System& system, double n, double tolerance, int most_iterations) {
  const FirstSweep first = system.Begin();
  const double radius = 1 - Min(n / first.moving, n / first.turning);
  SweepSums sums = first;
  SolverReport report;
  for (double omega = 2;; ++report.iterations) {
    report.relative_residual = first.right > 0 ? Sqrt(sums.residual / first.right) : Sqrt(sums.residual);
    report.converged =
        report.relative_residual <= tolerance || sums.residual <= System::kRoundOff * System::kRoundOff * sums.weight;
    if (report.converged || report.iterations == most_iterations) return report;
    omega = 1 / (1 - radius * radius * omega / 4);
    sums = system.Sweep(omega);
  }
}

}  // namespace gyrebox::kernels
