/// What the device finds out about a bed at one moment: sums, from which the host makes the columns of a sample.
#pragma once

#include "measure/bond_order.h"
#include "measure/cluster_sums.h"
#include "measure/disc_part.h"
#include "measure/pair_correlation.h"
#include "measure/pair_terms.h"
#include "measure/structure.h"

namespace gyrebox::kernels::cuda {

struct MeasuredSums {
  ClusterSums spinners;
  // Transport, relative to the places at step 0.
  double square[2] = {};    ///< sigma^2, by kind (1: spinners): sum of squared displacements less that of the centre
  double passive_spin = 0;  ///< rad/tau
  unsigned long long lost = 0;
  // Energetics.
  ForceSums forces;
  double power = 0;  ///< of the drive, epsilon/tau

  // Only where the columns of structure are measured too.
  ClusterSums passive;
  ShellSums shells;
  PairCounts pairs;
  OrderSums order;
  DiscSums discs;
};

}  // namespace gyrebox::kernels::cuda
