/// Sorts the beads of a bed by cell, and lists the partners of each.
#pragma once

#include "cuda/bed_view.h"

namespace gyrebox::kernels::cuda {

/// Scratch of a rebuild besides the doubled arrays, while it moves beads; aliases the memory of the lists.
struct RebuildScratch {
  Pair32* start;
  std::uint32_t* tag;
  ImageCounts* turns;
  std::uint32_t* slot;
  float* motion;  // 3 rows
  GYREBOX_HD RebuildScratch(void* memory, std::uint32_t stride)
      : start(static_cast<Pair32*>(memory)),
        tag(reinterpret_cast<std::uint32_t*>(start + stride)),
        turns(reinterpret_cast<ImageCounts*>(tag + stride)),
        slot(reinterpret_cast<std::uint32_t*>(turns + stride)),
        motion(reinterpret_cast<float*>(slot + stride)) {}
  static constexpr std::uint32_t kBytesPerBead =
      sizeof(*start) + sizeof(*tag) + sizeof(*turns) + sizeof(*slot) + 3 * sizeof(*motion);
};
static_assert(RebuildScratch::kBytesPerBead == 32);  // see BedMemory::list

/// Image count of a path that has moved from `from`, where its image count was `turns`, to `to`.
GYREBOX_HD std::int16_t TurnsAfter(std::int16_t turns, std::uint32_t from, std::uint32_t to) {
  const std::int64_t path = static_cast<std::int64_t>(from) + AsSigned(to - from);
  return static_cast<std::int16_t>(turns + ((path - static_cast<std::int64_t>(to)) >> 32));
}

/// Sorts beads by cell, and by id within a cell: the order depends on positions and ids alone.
template <class Team, class Index>
GYREBOX_PASS void SortBeads(Team& team, BedView<Index>& bed) {
  const BedPlan& plan = bed.plan;
  const BedMemory& memory = plan.memory;
  const CellGrid grid = plan.grid;
  const auto cells = static_cast<std::uint32_t>(grid.count());
  const std::uint32_t n = plan.n, rank = team.rank(), size = team.size();
  const RebuildScratch scratch(bed.list, plan.stride);
  const PositionVelocity* now = bed.Now(bed.beads);
  const auto cell_of = [&](std::uint32_t i) { return static_cast<std::uint32_t>(grid.CellOf(now[i].x, now[i].y)); };

  for (std::uint32_t c = rank; c < cells; c += size) bed.cell_fill[c] = 0;
  team.Sync();
  for (std::uint32_t i = rank; i < n; i += size) team.FetchAdd(&bed.cell_fill[cell_of(i)], 1u);
  team.Sync();
  team.ExclusiveScan(bed.cell_fill, bed.cell_start, cells, memory.block_totals);
  // Fills every cell from its end, in any order.
  for (std::uint32_t i = rank; i < n; i += size) {
    const std::uint32_t cell = cell_of(i);
    scratch.slot[bed.cell_start[cell] + team.FetchAdd(&bed.cell_fill[cell], ~0u) - 1] = i;
  }
  team.Sync();
  for (std::uint32_t p = rank; p < n; p += size) {
    const std::uint32_t i = scratch.slot[p];
    const std::uint32_t cell = cell_of(i), tag = bed.tag[i];
    std::uint32_t q = bed.cell_start[cell];
    for (std::uint32_t m = bed.cell_start[cell]; m < bed.cell_start[cell + 1]; ++m) {
      q += IdOf(bed.tag[scratch.slot[m]]) < IdOf(tag) ? 1 : 0;
    }
    const PositionVelocity bead = now[i];
    bed.Next(bed.beads)[q] = bead;
    bed.Next(bed.spin)[q] = bed.Now(bed.spin)[i];
    bed.Next(bed.angle)[q] = bed.Now(bed.angle)[i];
    bed.Next(bed.remainder)[q] = bed.Now(bed.remainder)[i];
    const Pair32 built = memory.built[i];
    const ImageCounts turns = memory.turns[i];
    scratch.turns[q] = {TurnsAfter(turns.x, built.x, bead.x), TurnsAfter(turns.y, built.y, bead.y)};
    scratch.start[q] = memory.start[i];
    scratch.tag[q] = tag;
    if (memory.motion != nullptr) {
      Rows3(scratch.motion, plan.stride).Store(q, Rows3(memory.motion, plan.stride).Load(i));
      bed.Next(memory.thermal)[q] = bed.Now(memory.thermal)[i];
    }
  }
  team.Sync();
  bed.half ^= 1;
  for (std::uint32_t q = rank; q < n; q += size) {
    const PositionVelocity bead = bed.Now(bed.beads)[q];
    memory.built[q] = {bead.x, bead.y};
    memory.turns[q] = scratch.turns[q];
    memory.start[q] = scratch.start[q];
    bed.tag[q] = scratch.tag[q];
    if (memory.motion != nullptr) {
      Rows3(memory.motion, plan.stride).Store(q, Rows3(scratch.motion, plan.stride).Load(q));
    }
  }
  team.Sync();
}

/// Result of ListPartners() if a partner is too far away in memory for the list entries.
inline constexpr std::uint32_t kTooFar = 0xffffffffu;

/// @return the largest number of partners of a bead, or kTooFar. If it exceeds the capacity, the lists are incomplete.
template <class Team, class Index>
GYREBOX_PASS std::uint32_t ListPartners(Team& team, BedView<Index>& bed) {
  const BedPlan& plan = bed.plan;
  const PositionVelocity* now = bed.Now(bed.beads);
  const float quantum_x = plan.laws.axis_x.length_of_quantum, quantum_y = plan.laws.axis_y.length_of_quantum;
  std::uint32_t most = 0;
  for (std::uint32_t i = team.rank(); i < plan.n; i += team.size()) {
    const PositionVelocity own = now[i];
    std::uint32_t count = 0;
    plan.grid.ForCellsAround(plan.grid.Column(own.x), plan.grid.Row(own.y), [&](int first_cell, int last_cell) {
      const std::uint32_t end = bed.cell_start[last_cell + 1];
      for (std::uint32_t j = bed.cell_start[first_cell]; j < end; ++j) {
        const float dx = Difference(own.x, now[j].x, quantum_x);
        const float dy = Difference(own.y, now[j].y, quantum_y);
        if (!(Fma(dx, dx, dy * dy) < plan.reach_squared) || j == i) continue;
        if (count < plan.capacity && !Hold(i, j, plan.n, bed.list[OffsetInList<Index>(count, i, plan.stride)])) {
          most = kTooFar;
        }
        ++count;
      }
    });
    plan.memory.counts[i] = static_cast<std::uint16_t>(count < 65535u ? count : 65535u);
    most = count > most ? count : most;
  }
  return team.Largest(most);
}

}  // namespace gyrebox::kernels::cuda
