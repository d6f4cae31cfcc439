/// Shared-memory layout of a resident bed.
#pragma once

#include "cuda/bed_view.h"
#include "cuda/block_layout.h"

namespace gyrebox::kernels::cuda {

/// The arrays that a bed is stepped in, consecutive in the shared memory of a multiprocessor. Defines both the size and
/// the pointers of that memory.
struct ResidentArrays {
  PositionVelocity* beads = nullptr;  ///< doubled
  Remainder* remainder = nullptr;     ///< doubled
  float* spin = nullptr;              ///< doubled
  std::uint32_t* angle = nullptr;     ///< doubled
  std::uint32_t *tag = nullptr, *cell_start = nullptr, *cell_fill = nullptr;
  std::size_t bytes = 0;

  /// @param shared aligned to 16 bytes; null on the host if only the size is wanted. @param stride beads, rounded up to
  /// tiles.
  GYREBOX_HD constexpr ResidentArrays(unsigned char* shared, std::uint32_t stride, std::uint32_t cells) {
    BlockLayout layout(shared);
    layout.Take(beads, std::size_t{2} * stride);
    layout.Take(remainder, std::size_t{2} * stride);
    layout.Take(spin, std::size_t{2} * stride);
    layout.Take(angle, std::size_t{2} * stride);
    layout.Take(tag, stride);
    layout.Take(cell_start, std::size_t{cells} + 1);
    layout.Take(cell_fill, cells);
    bytes = layout.used();
  }

  /// Copies a bed in from device memory, and redirects its passes to shared memory. Ends with a Sync().
  template <class Team>
  GYREBOX_PASS void Enter(Team& team, const BedStatus& status, BedView<ResidentIndex>& bed) const {
    const BedMemory& memory = bed.plan.memory;
    const std::uint32_t n = bed.plan.n, at = status.half * bed.plan.stride;
    bed.beads = beads;
    bed.remainder = remainder;
    bed.spin = spin;
    bed.angle = angle;
    bed.tag = tag;
    bed.cell_start = cell_start;
    bed.cell_fill = cell_fill;
    Copy(team, memory.beads + at, beads + at, n);
    Copy(team, memory.remainder + at, remainder + at, n);
    Copy(team, memory.spin + at, spin + at, n);
    Copy(team, memory.angle + at, angle + at, n);
    Copy(team, memory.tag, tag, n);
    if (status.lists_valid) Copy(team, memory.cell_start, cell_start, Cells(bed) + 1);
    team.Sync();
  }

  /// Copies a bed back to device memory, including the motion of the coming step, which measuring reads. Requires a
  /// preceding Sync().
  template <class Team>
  GYREBOX_PASS void Leave(Team& team, const BedStatus& status, const BedView<ResidentIndex>& bed) const {
    const BedMemory& memory = bed.plan.memory;
    const std::uint32_t n = bed.plan.n, stride = bed.plan.stride;
    const std::uint32_t now = status.half * stride, next = (status.half ^ 1) * stride;
    Copy(team, beads + now, memory.beads + now, n);
    Copy(team, beads + next, memory.beads + next, n);
    Copy(team, spin + now, memory.spin + now, n);
    Copy(team, spin + next, memory.spin + next, n);
    Copy(team, remainder + now, memory.remainder + now, n);
    Copy(team, angle + now, memory.angle + now, n);
    Copy(team, tag, memory.tag, n);
    Copy(team, cell_start, memory.cell_start, Cells(bed) + 1);
  }

 private:
  GYREBOX_PASS static std::uint32_t Cells(const BedView<ResidentIndex>& bed) {
    return static_cast<std::uint32_t>(bed.plan.grid.count());
  }
  template <class Team, class T>
  GYREBOX_PASS static void Copy(Team& team, const T* from, T* to, std::uint32_t n) {
    for (std::uint32_t i = team.rank(); i < n; i += team.size()) to[i] = from[i];
  }
};

}  // namespace gyrebox::kernels::cuda
