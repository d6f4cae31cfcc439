/// Pair counts by distance.
#pragma once

#include "cuda/measure_memory.h"
#include "cuda/measure_window.h"
#include "cuda/measured.h"
#include "measure/pairs/distance.h"

namespace gyrebox::kernels::cuda {

/// Counts the pairs of each kind in each distance bin.
template <class Team, class Index>
GYREBOX_PASS void CountPairs(Team& team, const BedView<Index>& bed, const MeasureMemory& memory, MeasuredSums& out) {
  const BedPlan& plan = bed.plan;
  const PositionVelocity* now = bed.Now(bed.beads);
  const Window<Index> window(bed);
  const double quantum_x = plan.side_x * 0x1p-32, quantum_y = plan.side_y * 0x1p-32;
  const double range = BinsWithin(Min(plan.side_x, plan.side_y)) * kDistanceBin;
  std::uint32_t* histogram = memory.block->histogram;  // [kind][bin]
  unsigned long long* counts = &out.pairs.of[0][0];
  const auto flush = [&] {
    team.SyncBlock();
    for (std::uint32_t k = team.rank_in_block(); k < 3 * kDistanceBins; k += team.block_size()) {
      if (histogram[k] != 0) team.FetchAdd(&counts[k], static_cast<unsigned long long>(histogram[k]));
      histogram[k] = 0;
    }
    team.SyncBlock();
  };
  for (std::uint32_t k = team.rank_in_block(); k < 3 * kDistanceBins; k += team.block_size()) histogram[k] = 0;
  team.SyncBlock();
  // No bead has more pairs than there are beads; a block's counts are flushed before they can exceed 32 bits.
  const std::uint64_t at_most = (std::uint64_t{1} << 32) / (static_cast<std::uint64_t>(team.block_size()) * plan.n + 1);
  const auto rounds_to_flush = static_cast<std::uint32_t>(at_most > 0 ? at_most : 1);
  const std::uint32_t rounds = (plan.n + team.size() - 1) / team.size();
  for (std::uint32_t round = 0; round < rounds; ++round) {
    if (round % rounds_to_flush == rounds_to_flush - 1) flush();
    const std::uint32_t i = round * team.size() + team.rank();
    if (i >= plan.n) continue;
    const PositionVelocity own = now[i];
    const int own_kind = IsSpinner(bed.tag[i]) ? 1 : 0;
    window.ForSlots(own, range, [&](std::uint32_t first, std::uint32_t end) {
      for (std::uint32_t j = first; j < end && j < i; ++j) {
        const Way way = WayBetween(own.x, own.y, now[j].x, now[j].y, quantum_x, quantum_y);
        if (way.squared > range * range * 1.001) continue;
        const int bin = DistanceBinOf(way.squared);
        if (bin >= kDistanceBins) continue;
        team.FetchAdd(&histogram[(own_kind + (IsSpinner(bed.tag[j]) ? 1 : 0)) * kDistanceBins + bin], 1u);
      }
    });
  }
  flush();
}

}  // namespace gyrebox::kernels::cuda
