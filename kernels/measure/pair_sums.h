/// Sums over the pairs of a bed with the laws of model/. Compiled for the instruction set that the laws are quick in.
#pragma once

#include <cstddef>
#include <cstdint>

#include "measure/pair_terms.h"

namespace gyrebox::kernels {

/// A pair within reach: bead numbers, unit vector from a to b, distance in sigma.
struct NearPair {
  std::uint32_t a, b;
  double nx, ny, r;
};

ForceSums SumForces(const ForceSpec& force, const NearPair* pairs, std::size_t n_pairs);

/// Adds the friction across each pair to the rows of those of its two beads that are spinners.
/// @param spinner,motion,rows (beads) by bead number.
void AddTurningFriction(const FrictionSpec& friction, const NearPair* pairs, std::size_t n_pairs,
                        const std::uint8_t* spinner, const Motion<double>* motion, BalanceRow<double>* rows);

/// Power of the torques that balance the rows of the spinners, epsilon/tau.
double PowerOfRows(std::size_t n_beads, const std::uint8_t* spinner, const Motion<double>* motion,
                   const BalanceRow<double>* rows);

}  // namespace gyrebox::kernels
