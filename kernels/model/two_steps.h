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
/// the motion that the last two steps lead to, g = 2 v_{n-1} - v_{n-2}, and goes only a part of the way to what
/// balances a bead, or it would not converge: with eigenvalues of a whole sweep in (-1, 1), those of a part 1/(1 + s) =
/// 2/3 are in
/// (-1/3, 1), and z^2 = J (2 z - 1) has |z| < 1 for all of these.
inline constexpr double kSweepShare = 2.0 / 3;

/// The motion that a bead takes. @param balanced that which balances it while its neighbours move as expected.
template <class R>
GYREBOX_HD Motion<R> SweptMotion(R share, const Motion<R>& balanced, const Motion<R>& expected) {
  return {Fma(share, balanced.vx - expected.vx, expected.vx), Fma(share, balanced.vy - expected.vy, expected.vy),
          Fma(share, balanced.spin - expected.spin, expected.spin)};
}

}  // namespace gyrebox::kernels
