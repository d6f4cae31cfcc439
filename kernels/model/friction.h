/// Pair friction, background drag and their noise, as rows of the force balance (Z + Gamma) V = F + R of the
/// overdamped bed, V = all velocities and free spins. The pair law follows the fluid particle model (Español,
/// Phys. Rev. E 57, 2930 (1998), doi:10.1103/PhysRevE.57.2930): it conserves linear and angular momentum of a pair.
///
/// Two dimensions, equal drags for all beads. For a pair i, j: n the unit vector from i to j, t = z x n,
/// arms a_i + a_j = r, slip s = (v_i - v_j).t + a_i w_i + a_j w_j:
///   force on i   -gamma_t w s t - gamma_n w ((v_i - v_j).n) n      (on j the opposite)
///   torque       -gamma_t w s a_i on i,  -gamma_t w s a_j on j     (the same sign)
#pragma once

#include "gyrebox/run_spec.h"
#include "model/noise.h"

namespace gyrebox::kernels {

/// Weight (1 - r/r_f)^p and the coefficients it multiplies.
template <class R>
struct PairFriction {
  R tangential, normal;  ///< gamma_t, gamma_n, zeta_0
  R inverse_cutoff;      ///< 1/r_f
  R cutoff;              ///< r_f, sigma
  bool squared;          ///< p = 2

  PairFriction() = default;
  explicit PairFriction(const FrictionSpec& spec)
      : tangential(R(spec.tangential)),
        normal(R(spec.normal)),
        inverse_cutoff(R(1.0 / spec.cutoff)),
        cutoff(R(spec.cutoff)),
        squared(spec.exponent == 2) {}

  /// @return weight in [0, 1]; 0 at and beyond the cut-off.
  GYREBOX_HD R Weight(R r) const {
    const R linear = Max(Fma(-r, inverse_cutoff, R(1.0)), R(0.0));
    return squared ? linear * linear : linear;
  }
};

/// Amplitudes of the thermal forces of one step: the square root of 2 kT/dt times each friction.
template <class R>
struct NoiseAmplitudes {
  R along, across;   ///< pair, to be multiplied by the square root of the weight
  R velocity, spin;  ///< bead

  NoiseAmplitudes() = default;
  NoiseAmplitudes(const FrictionSpec& friction, const DragSpec& drag, double temperature, double time_step)
      : along(R(Sqrt(2 * friction.normal * temperature / time_step))),
        across(R(Sqrt(2 * friction.tangential * temperature / time_step))),
        velocity(R(Sqrt(2 * drag.translational * temperature / time_step))),
        spin(R(Sqrt(2 * drag.rotational * temperature / time_step))) {}
};

template <class R>
struct Motion {
  R vx, vy;  ///< sigma/tau
  R spin;    ///< rad/tau
};

/// One bead's rows of the force balance: the diagonal block of its own motion, and the right-hand side.
template <class R>
struct BalanceRow {
  R fx, fy, torque;  ///< right-hand side: force and torque, motion of the neighbours included
  R axx, axy, ayy;   ///< own block: velocity - velocity
  R bx, by;          ///< velocity - spin
  R c;               ///< spin - spin

  GYREBOX_HD explicit BalanceRow(const DragSpec& drag) : BalanceRow(R(drag.translational), R(drag.rotational)) {}
  GYREBOX_HD BalanceRow(R translational, R rotational)
      : fx(R(0.0)),
        fy(R(0.0)),
        torque(R(0.0)),
        axx(translational),
        axy(R(0.0)),
        ayy(translational),
        bx(R(0.0)),
        by(R(0.0)),
        c(rotational) {}

  /// Friction against a neighbour that moves with `other`.
  /// @param nx,ny unit vector towards it. @param across,along gamma_t w and gamma_n w. @param arm,other_arm in sigma.
  GYREBOX_HD void AddFriction(R nx, R ny, R across, R along, R arm, R other_arm, const Motion<R>& other) {
    AddFrictionPull(nx, ny, across, along, arm, other_arm, other);
    AddToBlock(nx, ny, across, along, arm);
  }
  /// The same for the right-hand side only.
  GYREBOX_HD void AddFrictionPull(R nx, R ny, R across, R along, R arm, R other_arm, const Motion<R>& other) {
    const R pull_t = across * Slip(nx, ny, other_arm, other);
    const R pull_n = along * Fma(other.vx, nx, other.vy * ny);
    AddPull(nx, ny, pull_n, pull_t, arm);
  }

  /// Friction against a neighbour plus a central force: `pull` towards it, with the same sign in the neighbour's row.
  GYREBOX_HD void AddContact(R nx, R ny, R across, R along, R arm, R other_arm, const Motion<R>& other, R pull) {
    const R pull_t = across * Slip(nx, ny, other_arm, other);
    const R pull_n = Fma(along, Fma(other.vx, nx, other.vy * ny), pull);
    AddPull(nx, ny, pull_n, pull_t, arm);
    AddToBlock(nx, ny, across, along, arm);
  }

  /// Pair force from a neighbour: `along` towards it, `across` along t. Both have the same sign in the neighbour's row,
  /// so the forces on the pair cancel.
  GYREBOX_HD void AddPairForce(R nx, R ny, R along, R across, R arm) { AddPull(nx, ny, along, across, arm); }

  GYREBOX_HD void AddBeadForce(R x, R y, R turning) {
    fx = fx + x;
    fy = fy + y;
    torque = torque + turning;
  }

  /// Own block times a motion: force, force, torque.
  GYREBOX_HD Motion<R> Product(const Motion<R>& m) const {
    return {Fma(axx, m.vx, Fma(axy, m.vy, bx * m.spin)), Fma(axy, m.vx, Fma(ayy, m.vy, by * m.spin)),
            Fma(bx, m.vx, Fma(by, m.vy, c * m.spin))};
  }

  /// Motion that balances the rows at a given spin.
  GYREBOX_HD Motion<R> SolveWithSpin(R spin) const {
    const R gx = Fma(-bx, spin, fx), gy = Fma(-by, spin, fy);
    const R scale = R(1.0) / Fma(axx, ayy, -axy * axy);
    return {Fma(ayy, gx, -axy * gy) * scale, Fma(axx, gy, -axy * gx) * scale, spin};
  }

  /// Motion that balances the rows of a freely turning bead. Eliminates the spin first.
  GYREBOX_HD Motion<R> SolveFree() const {
    const R inverse_c = R(1.0) / c;
    const R ux = bx * inverse_c, uy = by * inverse_c;
    BalanceRow reduced = *this;
    reduced.axx = Fma(-ux, bx, axx);
    reduced.axy = Fma(-ux, by, axy);
    reduced.ayy = Fma(-uy, by, ayy);
    reduced.fx = Fma(-ux, torque, fx);
    reduced.fy = Fma(-uy, torque, fy);
    reduced.bx = R(0.0);
    reduced.by = R(0.0);
    Motion<R> motion = reduced.SolveWithSpin(R(0.0));
    motion.spin = Fma(-bx, motion.vx, Fma(-by, motion.vy, torque)) * inverse_c;
    return motion;
  }

 private:
  // Slip velocity of the neighbour's surface along t = z x n, without the bead's own contribution.
  GYREBOX_HD static R Slip(R nx, R ny, R other_arm, const Motion<R>& other) {
    return Fma(other.vy, nx, -Fma(other.vx, ny, other_arm * other.spin));
  }
  GYREBOX_HD void AddPull(R nx, R ny, R along, R across, R arm) {
    fx = Fma(along, nx, Fma(-across, ny, fx));
    fy = Fma(along, ny, Fma(across, nx, fy));
    torque = Fma(arm, across, torque);
  }
  GYREBOX_HD void AddToBlock(R nx, R ny, R across, R along, R arm) {
    const R more = across - along;
    axx = Fma(more, ny * ny, axx + along);
    axy = Fma(-more, nx * ny, axy);
    ayy = Fma(more, nx * nx, ayy + along);
    const R lever = across * arm;
    bx = Fma(-lever, ny, bx);
    by = Fma(lever, nx, by);
    c = Fma(lever, arm, c);
  }
};

}  // namespace gyrebox::kernels
