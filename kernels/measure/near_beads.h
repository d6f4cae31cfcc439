/// Beads sorted into cells, to look at what lies near each of them.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "neighbors/cells.h"

namespace gyrebox::kernels {

/// Keeps its memory from call to call. Beads are named by rank: their place in the order of the cells, which is stable,
/// so that every visit below comes in an order fixed by the beads alone.
class NearBeads {
 public:
  /// @param x,y (beads) fixed-point places. @param side_x,side_y in sigma.
  /// @param reach in sigma, over 0: every bead this near is visited, as its nearest image.
  void Sort(std::span<const std::uint32_t> x, std::span<const std::uint32_t> y, double side_x, double side_y,
            double reach);

  std::uint32_t size() const { return static_cast<std::uint32_t>(places_.size()); }
  /// Number of a bead in x and y.
  std::uint32_t id(std::uint32_t rank) const { return cells_.order[rank]; }
  /// All beads nearer than this are visited, sigma; infinite where every bead is.
  double reach() const { return reach_; }

  /// Calls visit(other, dx, dy, r2) for each other bead around one: its rank, the way to it (sigma) and that squared.
  /// Beads beyond the reach may come too.
  template <class Visit>
  void ForBeadsAround(std::uint32_t rank, Visit visit) const {
    ForBeadsFrom(0, rank, [&](std::uint32_t other, double dx, double dy, double r2) {
      if (other != rank) visit(other, dx, dy, r2);
    });
  }

  /// Calls visit(rank, other, dx, dy, r2) once for each pair within the reach, and for some beyond it.
  template <class Visit>
  void ForPairs(Visit visit) const {
    for (std::uint32_t rank = 0; rank < size(); ++rank) {
      ForBeadsFrom(rank + 1, rank,
                   [&](std::uint32_t other, double dx, double dy, double r2) { visit(rank, other, dx, dy, r2); });
    }
  }

 private:
  struct Place {
    std::uint32_t x, y;
  };

  template <class Visit>
  void ForBeadsFrom(std::uint32_t first, std::uint32_t rank, Visit visit) const {
    const Place own = places_[rank];
    grid_.ForCellsAround(grid_.Column(own.x), grid_.Row(own.y), [&](int first_cell, int last_cell) {
      const std::uint32_t end = cells_.start[static_cast<std::size_t>(last_cell) + 1];
      for (auto other = std::max(first, cells_.start[static_cast<std::size_t>(first_cell)]); other < end; ++other) {
        const double dx = AsSigned(places_[other].x - own.x) * quantum_x_;
        const double dy = AsSigned(places_[other].y - own.y) * quantum_y_;
        visit(other, dx, dy, dx * dx + dy * dy);
      }
    });
  }

  CellGrid grid_{1, 1, 1};
  double quantum_x_ = 0, quantum_y_ = 0, reach_ = 0;
  CellOrder cells_;
  std::vector<Place> places_;  // (beads) by rank
};

}  // namespace gyrebox::kernels
