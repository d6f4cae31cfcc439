/// The friction system A V = b, solved by preconditioned conjugate gradients (Hestenes & Stiefel, J. Res. Natl. Bur.
/// Stand. 49, 409 (1952)). A is sparse, symmetric and positive definite; the preconditioner is the block of each bead.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

/// Sums that a pass over all beads comes back with. Each is summed in a fixed order.
struct SolverSums {
  double residual = 0;        ///< r.r
  double preconditioned = 0;  ///< r.z
};

struct SolverReport {
  double relative_residual = 0;  ///< |b - A V| / |b|; 0 where b is 0
  int iterations = 0;
  bool converged = false;
};

/// A System holds V, r = b - A V, z = M^-1 r, the direction p and the product q = A p:
///   SolverSums Begin(double& right)       r and z of the V it has; right = b.b
///   void Turn(double beta)                p = z + beta p  (beta = 0 in the first call)
///   double Multiply()                     q = A p; returns p.q
///   SolverSums Follow(double alpha)       V += alpha p, r -= alpha q, z = M^-1 r
template <class System>
GYREBOX_HD SolverReport SolveByConjugateGradients(System& system, double tolerance, int most_iterations) {
  SolverReport report;
  double right = 0;
  SolverSums sums = system.Begin(right);
  const auto relative = [&] { return right > 0 ? Sqrt(sums.residual / right) : Sqrt(sums.residual); };
  double beta = 0;
  for (report.relative_residual = relative();
       report.relative_residual > tolerance && report.iterations < most_iterations; ++report.iterations) {
    system.Turn(beta);
    const double curvature = system.Multiply();
    if (!(curvature > 0)) break;  // round-off, or a number that is none
    const double before = sums.preconditioned;
    sums = system.Follow(before / curvature);
    beta = sums.preconditioned / before;
    report.relative_residual = relative();
  }
  report.converged = report.relative_residual <= tolerance;
  return report;
}

}  // namespace gyrebox::kernels
