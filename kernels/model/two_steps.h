/// The displacement of a step, from the motions of this step and of the previous one.
///
/// x += dt (v_n + w (v_n - v_{n-1})), where v_n is the motion at the positions and under the drive of time t_n. With w
/// = 1/2 this is the two-step Adams-Bashforth method (Hairer, Nørsett & Wanner, Solving Ordinary Differential Equations
/// I, section III.1; from memory): second order at the cost of one evaluation. With w = 0 it is Euler's method.
///
/// The noise of a step enters once, with weight one: only the noise-free motion is extrapolated. In a well of stiffness
/// k under drag zeta, with a = k dt / zeta, the variance of the position is exactly kT/k times
///   (1 - a/2) / ((1 + a/2) (1 - a)) = 1 + a^2/2 + ...      (stable for a < 1).
/// Euler's method gives 1 / (1 - a/2) (stable for a < 2). Noise averaged over two steps, which suits Euler's force,
/// would give 1 / (1 + a/2). In any potential the positions are also correct to second order: with z_n = x_n - (dt / 2
/// zeta) F(x_{n-1}) the step reads z += (dt / zeta) F(x_n) + noise, and the first-order terms of the density of z and
/// of the shift from z to x cancel.
#pragma once

#include "model/friction.h"

namespace gyrebox::kernels {

/// Weight of the last change of motion in a second-order step.
inline constexpr double kAdamsBashforth = 0.5;

/// The motion used for the displacement. @param motion full motion, including the noise of this step. @param smooth
/// without that noise. @param before `smooth` of the previous step.
template <class R>
GYREBOX_HD Motion<R> TwoStepMotion(R weight, const Motion<R>& motion, const Motion<R>& smooth,
                                   const Motion<R>& before) {
  return {Fma(weight, smooth.vx - before.vx, motion.vx), Fma(weight, smooth.vy - before.vy, motion.vy),
          Fma(weight, smooth.spin - before.spin, motion.spin)};
}

/// A lagged sweep computes a motion from the previous motions of the neighbours. The lag differs from mode to mode, so
/// the step is first order whatever it does with the motion. A second-order sweep starts from the motion extrapolated
/// from the last two steps, g = 2 v_{n-1} - v_{n-2}, and takes v = g + D^-1 (b - A g), with blocks D that weight a
/// bead's own friction by 3/2: A = Z + Gamma, D = Z + 3/2 Gamma_own. Since 0 <= Gamma <= 2 Gamma_own (solver_test.cc),
/// J = 1 - D^-1 A has eigenvalues in (-1/3, 1), and z^2 = J (2 z - 1) has |z| < 1 for all of them: sweeps are stable
/// for every bed. A bead without contacts is balanced at once.
///
/// The thermal part of the motion is swept separately, to first order: u = D^-1 (R - O u_{n-1}), with the plain blocks
/// D = Z + Gamma_own and all other terms of A in O. It is added to the displacement once. A sweep passes part of a
/// random force on only in later steps, from positions that the force has already moved. The resulting drift does not
/// vanish with the step. First-order sweeps show little of it in cold beds, but with the noise in v, undriven beds at
/// packing 0.40 had 1.14(2) times the Boltzmann energy at kT = 0.002, and 1.21(2) at 0.02.
inline constexpr double kMoreOwnFriction = 0.5;

/// Thermal part of a motion, stored separately.
struct alignas(16) ThermalMotion {
  float vx = 0, vy = 0, spin = 0, unused = 0;
};

/// Converts a bead's row to that of a second-order sweep. @param expected g of the bead itself.
template <class R>
GYREBOX_HD void AddOwnFriction(R translational, R rotational, const Motion<R>& expected, BalanceRow<R>& row) {
  BalanceRow<R> more(R(0.0), R(0.0));
  const R part(kMoreOwnFriction);
  more.axx = part * (row.axx - translational);
  more.axy = part * row.axy;
  more.ayy = part * (row.ayy - translational);
  more.bx = part * row.bx;
  more.by = part * row.by;
  more.c = part * (row.c - rotational);
  const Motion<R> pull = more.Product(expected);
  row.AddBeadForce(pull.vx, pull.vy, pull.spin);
  row.axx = row.axx + more.axx;
  row.axy = row.axy + more.axy;
  row.ayy = row.ayy + more.ayy;
  row.bx = row.bx + more.bx;
  row.by = row.by + more.by;
  row.c = row.c + more.c;
}

}  // namespace gyrebox::kernels
