/// Contribution of one pair of beads to energy, stress and power.
#pragma once

#include "model/force.h"
#include "model/friction.h"

namespace gyrebox::kernels {

/// Sums over pairs; f is the repulsive force of a pair.
struct ForceSums {
  double energy = 0;              ///< epsilon
  double xx = 0, xy = 0, yy = 0;  ///< f r times the products of nx and ny, epsilon

  /// @param nx,ny unit vector along the pair. @param r sigma, within the cut-off.
  GYREBOX_HD void Add(const PairForce<double>& force, double nx, double ny, double r) {
    energy += force.Energy(r);
    const double push = force.Force(r) * r;
    xx += push * nx * nx;
    xy += push * nx * ny;
    yy += push * ny * ny;
  }
  GYREBOX_HD void Add(const ForceSums& other) {
    energy += other.energy;
    xx += other.xx;
    xy += other.xy;
    yy += other.yy;
  }
};

/// Friction of a neighbour in the torque row. Omits friction along the line of centres, which exerts no torque.
/// @param nx,ny unit vector towards it. @param r sigma. @param other its motion.
GYREBOX_HD void AddTurningFriction(const PairFriction<double>& friction, double nx, double ny, double r,
                                   const Motion<double>& other, BalanceRow<double>& row) {
  const double arm = r / 2;
  row.AddFriction(nx, ny, friction.tangential * friction.Weight(r), 0, arm, arm, other);
}

/// Torque that balances the row of a bead with this motion.
GYREBOX_HD double NeededTorque(const BalanceRow<double>& row, const Motion<double>& motion) {
  return row.Product(motion).spin - row.torque;
}

}  // namespace gyrebox::kernels
