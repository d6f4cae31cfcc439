/// Snapshots of beds whose observables are known.
#pragma once

#include <algorithm>
#include <cmath>
#include <numeric>
#include <random>
#include <vector>

#include "measure/snapshot.h"
#include "model/fixed_point.h"

namespace gyrebox {

inline kernels::Snapshot EmptySnapshot(double side_x, double side_y) {
  kernels::Snapshot out;
  out.side_x = side_x;
  out.side_y = side_y;
  return out;
}

/// Adds a bead at rest, by its fixed-point position.
inline void AddBeadAt(kernels::Snapshot& out, std::uint32_t x, std::uint32_t y, bool spinner = true) {
  out.x.push_back(x);
  out.y.push_back(y);
  for (auto* values : {&out.path_x, &out.path_y}) values->push_back(0);
  for (auto* values : {&out.vx, &out.vy, &out.spin}) values->push_back(0);
  out.spinner.push_back(spinner ? 1 : 0);
}
/// Adds a bead at rest, by its position in sigma.
inline void AddBead(kernels::Snapshot& out, double x, double y, bool spinner = true) {
  AddBeadAt(out, kernels::ToFixed(x / out.side_x), kernels::ToFixed(y / out.side_y), spinner);
}

/// Beads at random positions, each a spinner with this probability.
inline kernels::Snapshot RandomSnapshot(int n_beads, double side_x, double side_y, double spinner_probability,
                                        std::mt19937& random) {
  std::bernoulli_distribution chance(spinner_probability);
  kernels::Snapshot out = EmptySnapshot(side_x, side_y);
  for (int i = 0; i < n_beads; ++i) {
    const auto x = static_cast<std::uint32_t>(random()), y = static_cast<std::uint32_t>(random());
    AddBeadAt(out, x, y, chance(random));
  }
  return out;
}

/// A perfect triangular crystal of passive beads; the number of rows is even. Positions are exact for powers of two.
inline kernels::Snapshot TriangularCrystal(int columns, int rows, double spacing) {
  kernels::Snapshot out = EmptySnapshot(columns * spacing, rows * spacing * std::sqrt(3.0) / 2);
  for (int row = 0; row < rows; ++row) {
    for (int column = 0; column < columns; ++column) {
      AddBeadAt(out, kernels::ToFixed((column + 0.5 * (row % 2)) / columns),
                kernels::ToFixed(static_cast<double>(row) / rows), false);
    }
  }
  return out;
}

/// A perfect square crystal of passive beads.
inline kernels::Snapshot SquareCrystal(int columns, int rows, double spacing) {
  kernels::Snapshot out = EmptySnapshot(columns * spacing, rows * spacing);
  for (int row = 0; row < rows; ++row) {
    for (int column = 0; column < columns; ++column) {
      AddBeadAt(out, kernels::ToFixed(static_cast<double>(column) / columns),
                kernels::ToFixed(static_cast<double>(row) / rows), false);
    }
  }
  return out;
}

/// The same bed with its beads in another order.
inline kernels::Snapshot Shuffled(const kernels::Snapshot& bed, std::mt19937& random) {
  std::vector<std::size_t> order(bed.x.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::shuffle(order.begin(), order.end(), random);
  kernels::Snapshot out = bed;
  const auto reorder = [&](const auto& from, auto& to) {
    for (std::size_t i = 0; i < from.size(); ++i) to[i] = from[order[i]];
  };
  reorder(bed.x, out.x), reorder(bed.y, out.y);
  reorder(bed.path_x, out.path_x), reorder(bed.path_y, out.path_y);
  reorder(bed.vx, out.vx), reorder(bed.vy, out.vy), reorder(bed.spin, out.spin);
  reorder(bed.torque, out.torque), reorder(bed.spinner, out.spinner);
  return out;
}

/// The same bed with another origin.
inline kernels::Snapshot Shifted(const kernels::Snapshot& bed, std::mt19937& random) {
  kernels::Snapshot out = bed;
  const auto shift_x = static_cast<std::uint32_t>(random()), shift_y = static_cast<std::uint32_t>(random());
  for (auto& x : out.x) x += shift_x;
  for (auto& y : out.y) y += shift_y;
  return out;
}

}  // namespace gyrebox
