/// Measures a bed where it is.
#pragma once

#include "cuda/measure_clusters.h"
#include "cuda/measure_correlation.h"
#include "cuda/measure_motion.h"
#include "cuda/measure_order.h"
#include "cuda/measure_pairs.h"
#include "cuda/measure_shape.h"
#include "cuda/measure_waves.h"

namespace gyrebox::kernels::cuda {

/// Memory for measuring, links and sizes in arrays of the next half that nobody needs meanwhile.
template <class Index>
GYREBOX_HD MeasureMemory MeasureMemoryIn(const BedView<Index>& bed) {
  return MeasureMemory(bed.plan.memory.measure, bed.plan.stride, bed.Next(bed.remainder), bed.Next(bed.angle));
}

/// Sums of all that is observed of a bed whose motion from now on is in the next half, which has not been followed.
/// They are the same bits for a team of any size.
/// @param whole measure the columns of structure too. @param out in device memory; need not be zero.
template <class Team, class Index>
GYREBOX_PASS void MeasureBed(Team& team, const BedView<Index>& bed, const StepNumbers& numbers,
                             const OwnDriveNumbers* own_numbers, bool whole, const MeasureMemory& memory,
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
