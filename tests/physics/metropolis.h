/// Equilibrium beds drawn without the engine: single-bead Metropolis Monte Carlo (J. Chem. Phys. 21, 1087 (1953)) with
/// the pair energy of the engine's force.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

#include "model/force.h"

namespace gyrebox {

/// Markov chain of beds of n_beads passive beads. It starts from a triangular crystal: sweep until that has melted.
class Metropolis {
 public:
  /// @param side_x,side_y sigma, at least three times the reach of the force. @param rows of the crystal, even and a
  /// divisor of n_beads. @param largest_move along each axis, sigma.
  Metropolis(const kernels::ForceSpec& force, double temperature, double side_x, double side_y, int n_beads, int rows,
             double largest_move, std::uint64_t seed)
      : force_(force),
        temperature_(temperature),
        cutoff_(force.cutoff),
        side_x_(side_x),
        side_y_(side_y),
        largest_move_(largest_move),
        random_(seed),
        columns_of_cells_(static_cast<int>(side_x / force.cutoff)),
        rows_of_cells_(static_cast<int>(side_y / force.cutoff)),
        cells_(static_cast<std::size_t>(columns_of_cells_) * rows_of_cells_) {
    const int columns = n_beads / rows;
    for (int i = 0; i < n_beads; ++i) {
      const int row = i / columns, column = i % columns;
      x_.push_back((column + 0.25 + 0.5 * (row % 2)) / columns * side_x);
      y_.push_back((row + 0.5) / rows * side_y);
      cells_[CellAt(x_.back(), y_.back())].push_back(i);
    }
  }

  /// One trial move per bead on average.
  void Sweep() {
    const int n_beads = static_cast<int>(x_.size());
    for (int trial = 0; trial < n_beads; ++trial) {
      const int bead = static_cast<int>(Uniform() * n_beads);
      const double x = Wrapped(x_[bead] + (2 * Uniform() - 1) * largest_move_, side_x_);
      const double y = Wrapped(y_[bead] + (2 * Uniform() - 1) * largest_move_, side_y_);
      const double gain = EnergyAt(x, y, bead) - EnergyAt(x_[bead], y_[bead], bead);
      if (gain > 0 && Uniform() >= std::exp(-gain / temperature_)) continue;
      MoveTo(bead, x, y);
    }
  }
  void Sweeps(int count) {
    for (int k = 0; k < count; ++k) Sweep();
  }

  /// Potential energy of all pairs per bead, epsilon.
  double EnergyPerBead() const {
    double twice = 0;
    for (int i = 0; i < static_cast<int>(x_.size()); ++i) twice += EnergyAt(x_[i], y_[i], i);
    return twice / (2 * static_cast<double>(x_.size()));
  }

  const std::vector<double>& x() const { return x_; }  ///< (beads) sigma
  const std::vector<double>& y() const { return y_; }

 private:
  double Uniform() { return static_cast<double>(random_() >> 11) * 0x1p-53; }
  static double Wrapped(double position, double side) {
    if (position < 0) position += side;
    if (position >= side) position -= side;
    return position;
  }
  static double Nearest(double gap, double side) {
    if (gap > side / 2) return gap - side;
    return gap < -side / 2 ? gap + side : gap;
  }
  static int Place(double at, double side, int cells) {
    return std::min(static_cast<int>(at / side * cells), cells - 1);
  }
  std::size_t CellAt(double x, double y) const {
    return static_cast<std::size_t>(Place(y, side_y_, rows_of_cells_)) * columns_of_cells_ +
           Place(x, side_x_, columns_of_cells_);
  }

  double EnergyAt(double x, double y, int self) const {
    const int column = Place(x, side_x_, columns_of_cells_), row = Place(y, side_y_, rows_of_cells_);
    double energy = 0;
    for (int up = -1; up <= 1; ++up) {
      const int cell_row = (row + up + rows_of_cells_) % rows_of_cells_;
      for (int right = -1; right <= 1; ++right) {
        const int cell_column = (column + right + columns_of_cells_) % columns_of_cells_;
        for (const int other : cells_[static_cast<std::size_t>(cell_row) * columns_of_cells_ + cell_column]) {
          const double dx = Nearest(x_[other] - x, side_x_), dy = Nearest(y_[other] - y, side_y_);
          const double square = dx * dx + dy * dy;
          if (other != self && square < cutoff_ * cutoff_) energy += force_.Energy(std::sqrt(square));
        }
      }
    }
    return energy;
  }

  void MoveTo(int bead, double x, double y) {
    auto& from = cells_[CellAt(x_[bead], y_[bead])];
    from.erase(std::find(from.begin(), from.end(), bead));
    x_[bead] = x;
    y_[bead] = y;
    cells_[CellAt(x, y)].push_back(bead);
  }

  const kernels::PairForce<double> force_;
  const double temperature_, cutoff_, side_x_, side_y_, largest_move_;
  std::mt19937_64 random_;
  const int columns_of_cells_, rows_of_cells_;
  std::vector<std::vector<int>> cells_;  // bead indices by cell, row by row
  std::vector<double> x_, y_;
};

}  // namespace gyrebox
