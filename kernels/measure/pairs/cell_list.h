/// Beads sorted into cells, to visit the neighbours of each of them.
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "measure/pairs/distance.h"
#include "measure/pairs/near_runs.h"
#include "neighbors/cells.h"

namespace gyrebox::kernels {

/// Reuses its memory between calls. Beads are identified by rank: their index in the order of the cells. The sort is
/// stable, so the order of every visit below depends on the beads alone.
class CellList {
 public:
  /// @param x,y (beads) fixed-point positions. @param side_x,side_y in sigma.
  /// @param reach in sigma, over 0: every bead within it is visited, as its nearest image.
  void Sort(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x, double side_y,
            double reach);

  std::uint32_t size() const { return static_cast<std::uint32_t>(cells_.order.size()); }
  /// Index of a bead in x and y.
  std::uint32_t id(std::uint32_t rank) const { return cells_.order[rank]; }
  /// Positions by rank.
  PositionRow positions() const { return {x_.data(), y_.data(), quantum_x_, quantum_y_}; }
  /// All beads nearer than this are visited, sigma; infinite if every bead is.
  double reach() const { return reach_; }

  /// Calls visit(other, dx, dy, r2) for each other bead around one: its rank, the vector to it (sigma) and the squared
  /// distance. May include beads beyond the reach.
  template <class Visit>
  void ForBeadsAround(std::uint32_t rank, Visit visit) const {
    ForBeadsFrom(0, rank, [&](std::uint32_t other, double dx, double dy, double r2) {
      if (other != rank) visit(other, dx, dy, r2);
    });
  }

  /// Calls visit(first, last) for ranges of ranks, last not included, that contain every bead around this one with a
  /// higher rank. Over all beads, this visits every pair within the reach once, and some beyond it.
  template <class Visit>
  void ForRunsAfter(std::uint32_t rank, Visit visit) const {
    ForRunsFrom(rank + 1, rank, visit);
  }

  /// Calls visit(rank, other, dx, dy, r2) once for each pair within the reach, and for some beyond it.
  template <class Visit>
  void ForPairs(Visit visit) const {
    ForPairs(0, size(), visit);
  }
  /// The same for pairs whose first bead has one of these ranks, the last not included.
  template <class Visit>
  void ForPairs(std::uint32_t first, std::uint32_t last, Visit visit) const {
    for (std::uint32_t rank = first; rank < last; ++rank) {
      ForBeadsFrom(rank + 1, rank,
                   [&](std::uint32_t other, double dx, double dy, double r2) { visit(rank, other, dx, dy, r2); });
    }
  }

 private:
  template <class Visit>
  void ForRunsFrom(std::uint32_t lowest, std::uint32_t rank, Visit visit) const {
    grid_.ForCellsAround(grid_.Column(x_[rank]), grid_.Row(y_[rank]), [&](int first_cell, int last_cell) {
      const std::uint32_t first = std::max(lowest, cells_.start[static_cast<std::size_t>(first_cell)]);
      const std::uint32_t last = cells_.start[static_cast<std::size_t>(last_cell) + 1];
      if (first < last) visit(first, last);
    });
  }

  template <class Visit>
  void ForBeadsFrom(std::uint32_t lowest, std::uint32_t rank, Visit visit) const {
    const std::uint32_t own_x = x_[rank], own_y = y_[rank];
    ForRunsFrom(lowest, rank, [&](std::uint32_t first, std::uint32_t last) {
      for (std::uint32_t other = first; other < last; ++other) {
        const Way way = WayBetween(own_x, own_y, x_[other], y_[other], quantum_x_, quantum_y_);
        visit(other, way.dx, way.dy, way.squared);
      }
    });
  }

  CellGrid grid_{1, 1, 1};
  double quantum_x_ = 0, quantum_y_ = 0, reach_ = 0;
  CellOrder cells_;
  std::vector<std::uint32_t> x_, y_;  // (beads + padding) positions by rank
};

}  // namespace gyrebox::kernels
