/// Sums over the pairs of a bed with the laws of model/. Compiled for the instruction set in which the laws run fast.
#pragma once

#include <cstddef>
#include <cstdint>

#include "measure/pairs/pair_terms.h"

namespace gyrebox::kernels {

/// A batch of pairs of non-coincident beads. Each quantity is contiguous, so that the laws process several pairs at a
/// time.
struct PairBatch {
  static constexpr int kCapacity = 256;
  int size = 0;
  double dx[kCapacity], dy[kCapacity];  ///< vector from one bead to the other, sigma
  double squared[kCapacity];            ///< squared distance
};

/// Adds the force terms of these pairs, pair by pair.
void AddForces(const ForceSpec& force, const PairBatch& pairs, ForceSums& sums);

/// Pairs of a spinner and a neighbour, with the motion of both.
struct TurningBatch {
  PairBatch ways;                                                         ///< from the spinner
  double vx[PairBatch::kCapacity], vy[PairBatch::kCapacity];              ///< of the spinner, sigma/tau
  double spin[PairBatch::kCapacity];                                      ///< rad/tau
  double other_vx[PairBatch::kCapacity], other_vy[PairBatch::kCapacity];  ///< of the neighbour
  double other_spin[PairBatch::kCapacity];
};

/// Adds the power, epsilon/tau, of the torques on the spinners that balance the friction of these pairs, pair by pair.
void AddPowerOfFriction(const FrictionSpec& friction, const TurningBatch& pairs, double& power);

/// Power of the torques that balance the drag of the spinners. @param spinner,spin (beads).
double PowerOfDrag(const DragSpec& drag, std::size_t n_beads, const std::uint8_t* spinner, const float* spin);

}  // namespace gyrebox::kernels
