/// Sums over the pairs of a bed with the laws of model/. Compiled for the instruction set that the laws are quick in.
#pragma once

#include <cstddef>
#include <cstdint>

#include "model/force.h"
#include "model/friction.h"

namespace gyrebox::kernels {

/// A pair within reach: bead numbers, unit vector from a to b, distance in sigma.
struct NearPair {
  std::uint32_t a, b;
  double nx, ny, r;
};

/// Sums over pairs, f the force that pushes a pair apart.
struct ForceSums {
  double energy = 0;              ///< epsilon
  double xx = 0, xy = 0, yy = 0;  ///< f r times the products of nx and ny, epsilon
};
ForceSums SumForces(const ForceSpec& force, const NearPair* pairs, std::size_t n_pairs);

/// Adds the friction across each pair to the rows of those of its two beads that are spinners. Friction along the line
/// of centres is left out: it turns nothing.
/// @param spinner,motion,rows (beads) by bead number.
void AddTurningFriction(const FrictionSpec& friction, const NearPair* pairs, std::size_t n_pairs,
                        const std::uint8_t* spinner, const Motion<double>* motion, BalanceRow<double>* rows);

/// Torque that balances the rows of a bead that moves so.
double NeededTorque(const BalanceRow<double>& row, const Motion<double>& motion);

}  // namespace gyrebox::kernels
