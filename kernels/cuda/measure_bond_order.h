/// Order of the six nearest neighbours.
#pragma once

#include "cuda/measure_memory.h"
#include "cuda/measure_window.h"
#include "cuda/measured.h"
#include "measure/pairs/distance.h"
#include "measure/pairs/six_nearest.h"

namespace gyrebox::kernels::cuda {

/// A neighbour. The vector to it is in quanta, which order like the lengths.
struct NearBead {
  double r2 = 1e300;
  std::int32_t dx = 0, dy = 0;
  std::uint32_t slot = 0;
};

/// The nearest of the beads passed to Show(), nearest first.
struct NearestBeads {
  NearBead at[kNearest];

  GYREBOX_PASS void Show(const NearBead& bead) {
    if (!IsNearer(bead, at[kNearest - 1])) return;
    // From the far end; with constant indices everything stays in registers.
    bool settled = false;
#pragma unroll
    for (int k = kNearest - 1; k >= 0; --k) {
      if (settled) continue;
      if (k > 0 && IsNearer(bead, at[k - 1])) {
        at[k] = at[k - 1];
      } else {
        at[k] = bead;
        settled = true;
      }
    }
  }
};

template <class Index>
GYREBOX_PASS NearestBeads NearestOf(const BedView<Index>& bed, const Window<Index>& window, double first_reach,
                                    std::uint32_t i) {
  const PositionVelocity *now = bed.Now(bed.beads), own = now[i];
  const double quantum_x = bed.plan.side_x * 0x1p-32, quantum_y = bed.plan.side_y * 0x1p-32;
  for (double reach = first_reach;; reach *= 1.5) {
    NearestBeads nearest;
    const bool all = window.ForSlots(own, reach, [&](std::uint32_t first, std::uint32_t end) {
      for (std::uint32_t j = first; j < end; ++j) {
        if (j == i) continue;
        const PositionVelocity other = now[j];
        const Way way = WayBetween(own.x, own.y, other.x, other.y, quantum_x, quantum_y);
        nearest.Show({way.squared, AsSigned(other.x - own.x), AsSigned(other.y - own.y), j});
      }
    });
    if (all || nearest.at[kNearest - 1].r2 < reach * reach) return nearest;
  }
}

template <class Team, class Index>
GYREBOX_PASS void MeasureOrder(Team& team, const BedView<Index>& bed, const MeasureMemory& memory, MeasuredSums& out) {
  const BedPlan& plan = bed.plan;
  if (plan.n <= kNearest) return;
  const double quantum_x = plan.side_x * 0x1p-32, quantum_y = plan.side_y * 0x1p-32;
  const Window<Index> window(bed);
  // On average eight beads lie within the first reach.
  const double first_reach = 1.6 * Sqrt(plan.side_x * plan.side_y / plan.n);
  unsigned long long like = 0;
  double sums[3];
  team.template Sum<3>(plan.n, memory.partials, sums, [&](std::uint32_t i, double(&terms)[3]) {
    const NearestBeads nearest = NearestOf(bed, window, first_reach, i);
    const bool spinner = IsSpinner(bed.tag[i]);
    Hexatic hexatic;
    for (const NearBead& bead : nearest.at) {
      hexatic.Add(bead.dx * quantum_x, bead.dy * quantum_y, bead.r2);
      like += spinner && IsSpinner(bed.tag[bead.slot]) ? 1 : 0;
    }
    hexatic = hexatic.Mean();
    terms[0] = hexatic.Modulus();
    terms[1] = hexatic.real;
    terms[2] = hexatic.imaginary;
  });
  team.AddAll(&out.order.like, like);
  if (team.rank() == 0) {
    out.order.moduli = sums[0];
    out.order.psi = {sums[1], sums[2]};
  }
}

}  // namespace gyrebox::kernels::cuda
