/// Contributions of one pair and of one bead to a time step, composed from the individual laws. The passes of both
/// backends loop over these functions.
#pragma once

#include "model/fixed_point.h"
#include "model/force.h"
#include "model/friction.h"

namespace gyrebox::kernels {

/// Geometry of a pair, seen from one of its beads.
template <class R>
struct PairGeometry {
  R squared;  ///< squared distance, sigma^2; never 0
  R r;        ///< sigma
  R nx, ny;   ///< unit vector to the other
  R arm;      ///< from the bead to the point of contact, sigma
  R weight;   ///< of pair friction
};

template <class R>
struct StepLaws {
  FixedAxis<R> axis_x, axis_y;
  PairForce<R> force;
  PairFriction<R> friction;
  NoiseAmplitudes<R> noise;
  R translational, rotational;  ///< drags, zeta_0, zeta_0 sigma^2
  R transverse_coupling;        ///< zeta_0; Brownian only

  /// Geometry of a pair from its separation in sigma. Coincident beads count as 1e-6 sigma apart.
  GYREBOX_HD static R Squared(R dx, R dy) { return Max(Fma(dx, dx, dy * dy), R(1e-12)); }
  GYREBOX_HD PairGeometry<R> Geometry(R dx, R dy, R squared) const {
    PairGeometry<R> pair;
    pair.squared = squared;
    R inverse;
    Root(squared, pair.r, inverse);
    pair.nx = dx * inverse;
    pair.ny = dy * inverse;
    pair.arm = R(0.5) * pair.r;
    pair.weight = friction.Weight(pair.r);
    return pair;
  }

  /// The conservative force of a pair.
  GYREBOX_HD void AddForce(const PairGeometry<R>& pair, BalanceRow<R>& row) const {
    row.AddPairForce(pair.nx, pair.ny, -force.Force(pair.r), R(0.0), pair.arm);
  }
  /// Friction due to the imposed spins of a pair. @param imposed_spins their sum; 0 where none is imposed.
  GYREBOX_HD void AddImposed(const PairGeometry<R>& pair, R imposed_spins, BalanceRow<R>& row) const {
    const R drag = friction.tangential * pair.weight * pair.arm * imposed_spins;
    row.AddPairForce(pair.nx, pair.ny, R(0.0), -drag, pair.arm);
  }
  /// Friction against a neighbour that moves with `motion`.
  GYREBOX_HD void AddFriction(const PairGeometry<R>& pair, const Motion<R>& motion, BalanceRow<R>& row) const {
    row.AddFriction(pair.nx, pair.ny, friction.tangential * pair.weight, friction.normal * pair.weight, pair.arm,
                    pair.arm, motion);
  }
  /// Complete friction between two moving beads: the right-hand side then holds the residual force. Sums of these lose
  /// fewer digits than sums of AddFriction() minus the block times the bead's own motion.
  GYREBOX_HD void AddWholeFriction(const PairGeometry<R>& pair, const Motion<R>& own, const Motion<R>& other,
                                   BalanceRow<R>& row) const {
    AddFriction(pair, {other.vx - own.vx, other.vy - own.vy, other.spin + own.spin}, row);
  }
  /// Thermal forces of a pair of beads with these ids: along the line of centres and across it.
  template <class U>
  GYREBOX_HD PairNoise<R> PairNoiseOf(const StepKeys& keys, U id, U other_id, const PairGeometry<R>& pair) const {
    const PairNoise<R> numbers = NoiseOfPair<R>(keys, id, other_id);
    const R root = RootOf(pair.weight);
    return {noise.along * root * numbers.along, noise.across * root * numbers.across};
  }
  template <class U>
  GYREBOX_HD void AddPairNoise(const StepKeys& keys, U id, U other_id, const PairGeometry<R>& pair,
                               BalanceRow<R>& row) const {
    const PairNoise<R> random = PairNoiseOf(keys, id, other_id, pair);
    row.AddPairForce(pair.nx, pair.ny, random.along, random.across, pair.arm);
  }
  /// All athermal terms of a pair at once: friction and conservative force.
  GYREBOX_HD void AddCold(const PairGeometry<R>& pair, const Motion<R>& motion, BalanceRow<R>& row) const {
    row.AddContact(pair.nx, pair.ny, friction.tangential * pair.weight, friction.normal * pair.weight, pair.arm,
                   pair.arm, motion, -force.Force(pair.r));
  }
  /// Right-hand side of the friction against a neighbour that moves with `motion`.
  GYREBOX_HD void AddFrictionPull(const PairGeometry<R>& pair, const Motion<R>& motion, BalanceRow<R>& row) const {
    row.AddFrictionPull(pair.nx, pair.ny, friction.tangential * pair.weight, friction.normal * pair.weight, pair.arm,
                        pair.arm, motion);
  }
  template <class U>
  GYREBOX_HD void AddBeadNoise(const StepKeys& keys, U id, BalanceRow<R>& row) const {
    const BeadNoise<R> numbers = NoiseOfBead<R>(keys, id);
    row.AddBeadForce(noise.velocity * numbers.x, noise.velocity * numbers.y, noise.spin * numbers.spin);
  }

  /// Brownian dynamics: conservative force and transverse coupling of turning beads.
  GYREBOX_HD void AddTransverseCoupling(const PairGeometry<R>& pair, R spin, R other_spin, BalanceRow<R>& row) const {
    const R push = transverse_coupling * pair.weight * pair.arm * (spin + other_spin);
    row.AddPairForce(pair.nx, pair.ny, -force.Force(pair.r), -push, R(0.0));
  }
};

}  // namespace gyrebox::kernels
