/// Minkowski functionals of the union of discs around the spinners.
#pragma once

#include "cuda/measure_memory.h"
#include "cuda/measure_pairs.h"
#include "cuda/measured.h"
#include "measure/clusters/disc_part.h"

namespace gyrebox::kernels::cuda {

/// The chords that the disc of a spinner shares with its neighbours. They are recomputed on every access: their number
/// is unbounded, and storing them for all threads would take much device memory.
template <class Index>
struct ListedChords {
  const BedView<Index>& bed;
  double radius;
  std::uint32_t i;

  template <class Visit>
  GYREBOX_PASS bool ForChords(const Visit& visit) const {
    return ForListed(bed, i, [&](std::uint32_t k, std::uint32_t j) {
      if (!IsSpinner(bed.tag[j])) return true;
      const Way way = WayOf(bed, i, j);
      if (way.squared > 4 * radius * radius || way.squared == 0) return true;
      return visit(k, DiscChord(way.dx, way.dy, Sqrt(way.squared), radius));
    });
  }
};

/// Lists the spinners in the order of their slots, so that each thread handles one.
template <class Team, class Index>
GYREBOX_PASS void ListSpinners(Team& team, const BedView<Index>& bed, const MeasureMemory& memory) {
  const BedPlan& plan = bed.plan;
  for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) memory.flags[i] = IsSpinner(bed.tag[i]) ? 1 : 0;
  team.Sync();
  team.ExclusiveScan(memory.flags, memory.numbers, plan.n, plan.memory.block_totals);
  for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
    if (memory.flags[i] != 0) memory.spinner_slots[memory.numbers[i]] = i;
  }
  team.Sync();
}

/// Requires a preceding ListSpinners().
template <class Team, class Index>
GYREBOX_PASS void MeasureShape(Team& team, const BedView<Index>& bed, const MeasureMemory& memory, MeasuredSums& out) {
  const double radius = bed.plan.bond_length / 2;
  double sums[3];
  team.template Sum<3>(bed.plan.n_spinners, memory.partials, sums, [&](std::uint32_t k, double(&terms)[3]) {
    const std::uint32_t i = memory.spinner_slots[k];
    // Of coincident spinners only the first one counts.
    const bool first = ForListed(bed, i, [&](std::uint32_t, std::uint32_t j) {
      return !(IsSpinner(bed.tag[j]) && IdOf(bed.tag[j]) < IdOf(bed.tag[i]) && WayOf(bed, i, j).squared == 0);
    });
    if (!first) return;
    DiscSums disc;
    AddDiscPart(radius, ListedChords<Index>{bed, radius, i}, disc);
    terms[0] = disc.area;
    terms[1] = disc.boundary;
    terms[2] = disc.turning;
  });
  if (team.rank() == 0) out.discs = {sums[0], sums[1], sums[2]};
}

}  // namespace gyrebox::kernels::cuda
