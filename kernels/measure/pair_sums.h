/// Sums over the pairs of a bed with the laws of model/. Compiled for the instruction set that the laws are quick in.
#pragma once

#include <cstddef>
#include <cstdint>

#include "measure/pair_terms.h"

namespace gyrebox::kernels {

/// Some pairs of beads that are not at one place. Numbers of one kind lie side by side: the laws take several pairs at
/// a time.
struct PairBatch {
  static constexpr int kMost = 256;
  int size = 0;
  double dx[kMost], dy[kMost];  ///< way from one bead to the other, sigma
  double squared[kMost];        ///< its square
};

/// Adds what the forces of these pairs give, pair by pair.
void AddForces(const ForceSpec& force, const PairBatch& pairs, ForceSums& sums);

/// Pairs of a spinner with a neighbour, and how both move.
struct TurningBatch {
  PairBatch ways;                                                 ///< from the spinner
  double vx[PairBatch::kMost], vy[PairBatch::kMost];              ///< of the spinner, sigma/tau
  double spin[PairBatch::kMost];                                  ///< rad/tau
  double other_vx[PairBatch::kMost], other_vy[PairBatch::kMost];  ///< of the neighbour
  double other_spin[PairBatch::kMost];
};

/// Adds the power, epsilon/tau, of the torques on the spinners that balance the friction of these pairs, pair by pair.
void AddPowerOfFriction(const FrictionSpec& friction, const TurningBatch& pairs, double& power);

/// Power of the torques that balance the drag of the spinners. @param spinner,spin (beads).
double PowerOfDrag(const DragSpec& drag, std::size_t n_beads, const std::uint8_t* spinner, const float* spin);

}  // namespace gyrebox::kernels
