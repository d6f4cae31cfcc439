/// Finds beads within a reach beyond that of the lists, from the cells of the last rebuild.
#pragma once

#include "cuda/bed_view.h"

namespace gyrebox::kernels::cuda {

/// A range of cells along an axis, with periodic wrap.
struct CellRun {
  int first, count;
};

template <class Index>
class Window {
 public:
  GYREBOX_PASS explicit Window(const BedView<Index>& bed)
      : bed_(bed), grid_(bed.plan.grid), drift_(Sqrt(static_cast<double>(bed.plan.half_skin_squared)) * 1.001) {}

  /// Calls visit(first, end) for ranges of slots, each slot once, that contain every bead within a reach (sigma) of a
  /// position.
  /// @return whether they contain all beads of the bed.
  template <class Visit>
  GYREBOX_PASS bool ForSlots(const PositionVelocity& at, double reach, const Visit& visit) const {
    // A bead may have left its cell by the max drift between rebuilds.
    const CellRun columns = Run(at.x, reach + drift_, bed_.plan.side_x, grid_.nx, true);
    const CellRun rows = Run(at.y, reach + drift_, bed_.plan.side_y, grid_.ny, false);
    for (int k = 0; k < rows.count; ++k) {
      const int row = rows.first + k < grid_.ny ? rows.first + k : rows.first + k - grid_.ny;
      grid_.ForRuns(columns.first, columns.count, row, [&](int first_cell, int last_cell) {
        visit(bed_.cell_start[first_cell], bed_.cell_start[last_cell + 1]);
      });
    }
    return columns.count == grid_.nx && rows.count == grid_.ny;
  }

 private:
  GYREBOX_PASS CellRun Run(std::uint32_t position, double reach, double side, int cells, bool along_x) const {
    if (2 * reach + 2 * side / cells >= side) return {0, cells};
    const auto quanta = static_cast<std::uint32_t>(reach / side * 0x1p32) + 1;
    const std::uint32_t from = position - quanta, to = position + quanta;
    const int first = along_x ? grid_.Column(from) : grid_.Row(from);
    const int last = along_x ? grid_.Column(to) : grid_.Row(to);
    return {first, last - first + (last < first ? cells : 0) + 1};
  }

  const BedView<Index>& bed_;
  const CellGrid grid_;
  const double drift_;  // sigma
};

}  // namespace gyrebox::kernels::cuda
