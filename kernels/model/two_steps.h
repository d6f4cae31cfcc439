/// The move of a step, made of the motion of the step and that of the step before.
///
/// x += dt (v_n + w (v_n - v_{n-1})), v_n the motion at the places and under the drive of the moment t_n. With w = 1/2
/// this is the two-step method of Adams and Bashforth (Hairer, Nørsett & Wanner, Solving Ordinary Differential
/// Equations I, section III.1; from memory): of second order at the price of one evaluation. With w = 0 it is Euler's.
///
/// Noise of a step enters with weight one, once: only what is free of noise is carried on. On a well of stiffness k
/// under drag zeta, a = k dt / zeta, the variance of the place is then exactly kT/k times
///   (1 - a/2) / ((1 + a/2) (1 - a)) = 1 + a^2/2 + ...      (stable for a < 1),
/// where Euler's method gives 1 / (1 - a/2) (stable for a < 2), and noise averaged over two steps, which suits Euler's
/// force, would give 1 / (1 + a/2). In any potential the places are then right to second order too: with
/// z_n = x_n - (dt / 2 zeta) F(x_{n-1}) the step reads z += (dt / zeta) F(x_n) + noise, and the terms of first order of
/// the density of z and of the shift from z to x cancel.
#pragma once

#include "model/friction.h"

namespace gyrebox::kernels {

/// Weight of the last change of the motion in a step of second order.
inline constexpr double kAdamsBashforth = 0.5;

/// The motion to follow. @param motion all of it, noise of this step included. @param smooth without that noise.
/// @param before `smooth` of the step before.
template <class R>
GYREBOX_HD Motion<R> TwoStepMotion(R weight, const Motion<R>& motion, const Motion<R>& smooth,
                                   const Motion<R>& before) {
  return {Fma(weight, smooth.vx - before.vx, motion.vx), Fma(weight, smooth.vy - before.vy, motion.vy),
          Fma(weight, smooth.spin - before.spin, motion.spin)};
}

/// A sweep of the lagged dynamics finds a motion from that which neighbours had: late by a time that differs from mode
/// to mode, so that the step is of first order whatever it does with the motion. A sweep of second order starts from
/// the motion that the last two steps lead to, g = 2 v_{n-1} - v_{n-2}, and goes to v = g + D^-1 (b - A g) with blocks
/// D in which a bead's own friction weighs half as much again: A = Z + Gamma, D = Z + 3/2 Gamma_own. Since 0 <= Gamma
/// <= 2 Gamma_own (solver_test.cc), J = 1 - D^-1 A has eigenvalues in (-1/3, 1), and z^2 = J (2 z - 1) has |z| < 1 for
/// all of these: sweeps are stable for every bed. A bead that touches none is balanced at once.
///
/// What noise makes of the motion is swept apart, and of first order: u = D^-1 (R - O u_{n-1}) with the plain blocks D
/// = Z + Gamma_own and all else of A in O, added to the move once. What such a sweep does not pass on at once of a
/// random force it passes on from places which that force has moved, and this makes a drift that no step is too short
/// for: sweeps of first order have little of it in cold beds, but with the noise in v, undriven beds of packing 0.40
/// had 1.14(2) times the energy of Boltzmann at kT = 0.002, and 1.21(2) at 0.02.
inline constexpr double kMoreOwnFriction = 0.5;

/// The part of a motion that noise makes, apart from the rest.
struct alignas(16) ThermalMotion {
  float vx = 0, vy = 0, spin = 0, unused = 0;
};

/// Makes the row of a bead that of such a sweep. @param expected g of the bead itself.
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
