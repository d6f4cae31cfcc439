/// What the device finds out about a bed at one moment: sums, from which the host makes the columns of a sample.
#pragma once

#include <cstdint>

#include "measure/clusters.h"
#include "measure/pair_correlation.h"
#include "measure/waves.h"

namespace gyrebox::kernels::cuda {

/// Sums over the clusters of one kind of bead; all exact.
struct ClusterSums {
  unsigned long long beads = 0, squares = 0, count = 0, wrapping = 0;  ///< sum s n_s, sum s^2 n_s, sum n_s
  unsigned long long largest = 0;
  unsigned long long spread_count = 0, spread_beads = 0, spread_squares = 0;  ///< of clusters of 5 or more
  unsigned long long radius_quanta = 0, radius_beads = 0;  ///< sum s times radius, in 2^-24 sigma, and sum s
  unsigned long long histogram[kSizeClasses] = {};
};

struct MeasuredSums {
  ClusterSums spinners;
  // Transport, relative to the places at step 0.
  double square[2] = {};    ///< sigma^2, by kind (1: spinners): sum of squared displacements less that of the centre
  double passive_spin = 0;  ///< rad/tau
  unsigned long long lost = 0;
  // Energetics, sums over pairs: energy (epsilon), force times distance along the axes (epsilon); power of the drive.
  double energy = 0, xx = 0, xy = 0, yy = 0, power = 0;

  // Only where the columns of structure are measured too.
  ClusterSums passive;
  double shell_power[kWaveShells] = {}, shell_power_times_k[kWaveShells] = {};
  unsigned long long pairs[3][kDistanceBins] = {};  ///< by number of spinners and bin of distance
  double psi_modulus = 0, psi_real = 0, psi_imaginary = 0;
  unsigned long long like = 0;                         ///< spinners among the six nearest of spinners
  double covered_area = 0, boundary = 0, turning = 0;  ///< sigma^2, sigma, rad
};

}  // namespace gyrebox::kernels::cuda
