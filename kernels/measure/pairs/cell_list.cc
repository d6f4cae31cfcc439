#include "measure/pairs/cell_list.h"

#include <cmath>
#include <limits>

namespace gyrebox::kernels {
namespace {

double ReachAlong(double side, int cells) { return cells < 3 ? std::numeric_limits<double>::infinity() : side / cells; }

}  // namespace

void CellList::Sort(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x, double side_y,
                    double reach) {
  // In a dilute bed cells are wider than the reach: at most about four cells per bead.
  const double per_bead = side_x * side_y / std::max<double>(1, static_cast<double>(x.size()));
  grid_ = CellGrid(side_x, side_y, std::max(reach, std::sqrt(per_bead) / 2));
  reach_ = std::min(ReachAlong(side_x, grid_.nx), ReachAlong(side_y, grid_.ny));
  quantum_x_ = side_x * 0x1p-32;
  quantum_y_ = side_y * 0x1p-32;
  SortIntoCells(grid_, x, y, cells_);
  x_.resize(x.size() + PositionRow::kPadding);
  y_.resize(x.size() + PositionRow::kPadding);
  for (std::size_t rank = 0; rank < x.size(); ++rank) {
    x_[rank] = x[cells_.order[rank]];
    y_[rank] = y[cells_.order[rank]];
  }
}

}  // namespace gyrebox::kernels
