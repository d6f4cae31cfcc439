/// Transport, and the count of lost beads.
#pragma once

#include "cuda/bed_view.h"
#include "cuda/measure_memory.h"
#include "cuda/measured.h"
#include "measure/transport.h"

namespace gyrebox::kernels::cuda {

/// Path since step 0 along an axis without the periodic wrap, quanta.
GYREBOX_HD std::int64_t PathOf(std::int16_t turns, std::uint32_t built, std::uint32_t now, std::uint32_t start) {
  return turns * (std::int64_t{1} << 32) + built + AsSigned(now - built) - static_cast<std::int64_t>(start);
}

template <class Team, class Index>
GYREBOX_PASS void MeasureTransportOf(Team& team, const BedView<Index>& bed, const MeasureMemory& memory,
                                     MeasuredSums& out) {
  const BedPlan& plan = bed.plan;
  const PositionVelocity* now = bed.Now(bed.beads);
  const float* spin = bed.Next(bed.spin);
  const auto path_x = [&](std::uint32_t i) {
    return PathOf(plan.memory.turns[i].x, plan.memory.built[i].x, now[i].x, plan.memory.start[i].x);
  };
  const auto path_y = [&](std::uint32_t i) {
    return PathOf(plan.memory.turns[i].y, plan.memory.built[i].y, now[i].y, plan.memory.start[i].y);
  };
  double paths[2];
  team.template Sum<2>(plan.n, memory.partials, paths, [&](std::uint32_t i, double(&terms)[2]) {
    terms[0] = static_cast<double>(path_x(i));
    terms[1] = static_cast<double>(path_y(i));
  });
  const double centre_x = paths[0] / plan.n, centre_y = paths[1] / plan.n;
  double sums[3];
  team.Sync();
  team.template Sum<3>(plan.n, memory.partials, sums, [&](std::uint32_t i, double(&terms)[3]) {
    const double square =
        SquareOfPath(path_x(i), path_y(i), centre_x, centre_y, plan.side_x * 0x1p-32, plan.side_y * 0x1p-32);
    const bool spinner = IsSpinner(bed.tag[i]);
    terms[spinner ? 1 : 0] = square;
    if (!spinner) terms[2] = static_cast<double>(spin[i]);
  });
  if (team.rank() == 0) {
    out.square[0] = sums[0];
    out.square[1] = sums[1];
    out.passive_spin = sums[2];
  }
}

/// Counts beads whose id is out of range or duplicated: as many ids have no bead.
template <class Team, class Index>
GYREBOX_PASS void CountLost(Team& team, const BedView<Index>& bed, const MeasureMemory& memory, MeasuredSums& out) {
  const std::uint32_t n = bed.plan.n;
  std::uint32_t* seen = memory.size;
  for (std::uint32_t i = team.rank(); i < n; i += team.size()) seen[i] = 0;
  team.Sync();
  unsigned long long lost = 0;
  for (std::uint32_t i = team.rank(); i < n; i += team.size()) {
    const std::uint32_t id = IdOf(bed.tag[i]);
    if (id >= n || team.FetchAdd(&seen[id], 1u) != 0) ++lost;
  }
  team.AddAll(&out.lost, lost);
  team.Sync();
}

}  // namespace gyrebox::kernels::cuda
