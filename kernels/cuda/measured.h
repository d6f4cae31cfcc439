/// Results of measuring a bed on the device: sums, from which the host computes the columns of a sample.
#pragma once

#include "measure/clusters/cluster_sums.h"
#include "measure/clusters/disc_part.h"
#include "measure/pairs/bond_order.h"
#include "measure/pairs/pair_correlation.h"
#include "measure/pairs/pair_terms.h"
#include "measure/structure_factor/structure_factor.h"

namespace gyrebox::kernels::cuda {

struct MeasuredSums {
  ClusterSums spinners;
  // Transport, relative to the positions at step 0.
  double square[2] = {};    ///< sigma^2, by kind (1: spinners): sum of squared displacements relative to the centre
  double passive_spin = 0;  ///< rad/tau
  unsigned long long lost = 0;
  // Energetics.
  ForceSums forces;
  double power = 0;  ///< of the drive, epsilon/tau

  // Only if the columns of structure are measured too.
  ClusterSums passive;
  ShellSums shells;
  PairCounts pairs;
  OrderSums order;
  DiscSums discs;
};

}  // namespace gyrebox::kernels::cuda
