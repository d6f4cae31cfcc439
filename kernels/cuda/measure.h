/// Measures a bed on the device.
#pragma once

#include "cuda/measure_bond_order.h"
#include "cuda/measure_clusters.h"
#include "cuda/measure_minkowski_functionals.h"
#include "cuda/measure_pair_correlation.h"
#include "cuda/measure_pairs.h"
#include "cuda/measure_structure_factor.h"
#include "cuda/measure_transport.h"

namespace gyrebox::kernels::cuda {

/// Memory for measuring. Links and sizes alias arrays of the next half that are unused meanwhile.
template <class Index>
GYREBOX_HD MeasureMemory MeasureMemoryIn(const BedView<Index>& bed) {
  return MeasureMemory(static_cast<unsigned char*>(bed.plan.memory.measure), bed.plan.stride, bed.plan.n_spinners,
                       bed.Next(bed.remainder), bed.Next(bed.angle));
}

/// Sums of all observables of a bed. The next half holds its coming motion, which has not moved the beads yet. Results
/// are bitwise independent of the team's size.
/// @param whole measure the columns of structure too. @param out in device memory; need not be zero.
template <class Team, class Index>
GYREBOX_PASS void MeasureBed(Team& team, const BedView<Index>& bed, const StepNumbers& numbers,
                             const PerSpinnerDriveNumbers* own_numbers, bool whole, const MeasureMemory& memory,
                             MeasuredSums& out) {
  auto* words = reinterpret_cast<char*>(&out);
  for (std::uint32_t i = team.rank(); i < sizeof(out); i += team.size()) words[i] = 0;
  team.Sync();
  CountLost(team, bed, memory, out);
  ClusterPass<Team, Index>(team, bed, memory, whole).Run(out);
  MeasureTransportOf(team, bed, memory, out);
  team.Sync();
  MeasureEnergeticsOf(team, bed, numbers, own_numbers, memory, out);
  team.Sync();
  if (!whole) return;
  MeasureOrder(team, bed, memory, out);
  team.Sync();
  ListSpinners(team, bed, memory);
  MeasureShape(team, bed, memory, out);
  CountPairs(team, bed, memory, out);
  team.Sync();
  WavePass<Team, Index>(team, bed, memory).Run(out);
}

}  // namespace gyrebox::kernels::cuda
