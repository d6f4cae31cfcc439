/// A grid of cells over the periodic domain. Each cell is at least as wide as the search reach, so all partners of a
/// bead lie in its own cell and the adjacent ones.
#pragma once

#include <algorithm>
#include <cstdint>
#include <span>
#include <vector>

#include "model/real.h"

namespace gyrebox::kernels {

/// Cells are ordered strip by strip, each of a few columns, and row by row within a strip; by default there is one
/// strip. Beads in the order of narrow strips have their partners close in memory. A side that holds fewer than three
/// cells becomes one cell, in which every bead is tested.
struct CellGrid {
  static constexpr int kOneStrip = 30;
  int nx = 1, ny = 1;
  int strip_bits = kOneStrip;  ///< a strip has 2^strip_bits columns, the last one the remainder

  /// @param sides and reach in sigma; reach over 0.
  CellGrid(double side_x, double side_y, double reach, int strip_bits = kOneStrip)
      : nx(CellsAlong(side_x, reach)), ny(CellsAlong(side_y, reach)), strip_bits(strip_bits) {}

  GYREBOX_HD int count() const { return nx * ny; }
  GYREBOX_HD int Column(std::uint32_t x) const { return Slot(x, nx); }
  GYREBOX_HD int Row(std::uint32_t y) const { return Slot(y, ny); }
  GYREBOX_HD int CellOf(std::uint32_t x, std::uint32_t y) const { return CellAt(Column(x), Row(y)); }
  GYREBOX_HD int CellAt(int column, int row) const {
    const int begin = StripOf(column);
    return begin * ny + row * (StripEnd(begin) - begin) + column - begin;
  }

  /// Calls visit(first_cell, last_cell) for the contiguous ranges of cells that make up `count` columns of a row, with
  /// periodic wrap.
  template <class Visit>
  GYREBOX_HD void ForRuns(int column, int count, int row, Visit visit) const {
    while (count > 0) {
      const int room = StripEnd(StripOf(column)) - column, here = count < room ? count : room;
      const int cell = CellAt(column, row);
      visit(cell, cell + here - 1);
      count -= here;
      column = column + here < nx ? column + here : 0;
    }
  }

  /// The same for the neighbouring cells, own cell included, each cell once.
  template <class Visit>
  GYREBOX_HD void ForCellsAround(int column, int row, Visit visit) const {
    const int first = nx < 3 ? 0 : Wrap(column - 1, nx), columns = nx < 3 ? 1 : 3, rows = ny < 3 ? 1 : 3;
    for (int k = 0; k < rows; ++k) ForRuns(first, columns, rows == 1 ? 0 : Wrap(row + k - 1, ny), visit);
  }

 private:
  static constexpr double kMaxCellsAlong = 1 << 14;
  static int CellsAlong(double side, double reach) {
    const int n = static_cast<int>(std::min(side / reach, kMaxCellsAlong));
    return n < 3 ? 1 : n;
  }
  // Exact for every position: a bead on the upper face wraps to position 0.
  GYREBOX_HD static int Slot(std::uint32_t position, int n) {
    return static_cast<int>((static_cast<std::uint64_t>(position) * static_cast<std::uint64_t>(n)) >> 32);
  }
  GYREBOX_HD int StripOf(int column) const { return column >> strip_bits << strip_bits; }
  GYREBOX_HD int StripEnd(int begin) const { return nx - begin < 1 << strip_bits ? nx : begin + (1 << strip_bits); }
  GYREBOX_HD static int Wrap(int i, int n) { return i < 0 ? i + n : (i >= n ? i - n : i); }
};

/// Beads by cell: those of cell c are order[start[c]] .. order[start[c + 1] - 1], in input order.
struct CellOrder {
  std::vector<std::uint32_t> start;  ///< (cells + 1)
  std::vector<std::uint32_t> order;  ///< (beads), indices into x and y
};

/// Stable counting sort of beads into cells; reuses the memory of `out`.
inline void SortIntoCells(const CellGrid& grid, std::span<const std::uint32_t> x, std::span<const std::uint32_t> y,
                          CellOrder& out) {
  out.start.assign(static_cast<std::size_t>(grid.count()) + 1, 0);
  out.order.resize(x.size());
  for (std::size_t i = 0; i < x.size(); ++i) ++out.start[static_cast<std::size_t>(grid.CellOf(x[i], y[i])) + 1];
  for (std::size_t c = 1; c < out.start.size(); ++c) out.start[c] += out.start[c - 1];
  for (std::size_t i = 0; i < x.size(); ++i) {
    // While filling, start[c] counts up to start[c + 1]; the loop below shifts it back.
    out.order[out.start[static_cast<std::size_t>(grid.CellOf(x[i], y[i]))]++] = static_cast<std::uint32_t>(i);
  }
  for (std::size_t c = out.start.size() - 1; c > 0; --c) out.start[c] = out.start[c - 1];
  out.start[0] = 0;
}

}  // namespace gyrebox::kernels
