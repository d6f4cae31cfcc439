/// Lattice sites on a torus with a chosen subset.
#pragma once

#include <cmath>
#include <cstdint>
#include <random>
#include <vector>

#include "measure/clusters/clusters.h"

namespace gyrebox {

/// Rows and columns of sites.
struct SiteTorus {
  int columns, rows;
  std::vector<char> chosen = std::vector<char>(static_cast<std::size_t>(columns) * rows, 0);

  SiteTorus(int columns, int rows) : columns(columns), rows(rows) {}
  double sites() const { return static_cast<double>(chosen.size()); }

  void ChooseAtRandom(double probability, std::mt19937_64& random) {
    std::bernoulli_distribution chance(probability);
    for (char& site : chosen) site = chance(random) ? 1 : 0;
  }

  bool At(int column, int row) const {
    const int c = (column % columns + columns) % columns, r = (row % rows + rows) % rows;
    return chosen[static_cast<std::size_t>(r) * columns + c] != 0;
  }
};

/// Rows of a triangular lattice with spacing 1; the number of rows is even. Positions are exact where both numbers are
/// powers of two.
struct TriangularTorus : SiteTorus {
  double side_x = columns, side_y = rows * std::sqrt(3.0) / 2;

  TriangularTorus(int columns, int rows) : SiteTorus(columns, rows) {}
  explicit TriangularTorus(int length) : TriangularTorus(length, length) {}

  bool Right(int column, int row) const { return At(column + 1, row); }
  bool UpRight(int column, int row) const { return At(column + row % 2, row + 1); }
  bool UpLeft(int column, int row) const { return At(column + row % 2 - 1, row + 1); }

  /// Clusters of the `chosen` sites, or of the others.
  std::span<const kernels::Cluster> Clusters(kernels::ClusterFinder& finder, bool of_chosen = true) const {
    std::vector<std::uint32_t> x, y;
    for (std::size_t site = 0; site < chosen.size(); ++site) {
      if ((chosen[site] != 0) != of_chosen) continue;
      const std::uint64_t row = site / static_cast<std::uint64_t>(columns);
      const std::uint64_t column = site % static_cast<std::uint64_t>(columns);
      x.push_back(static_cast<std::uint32_t>(((2 * column + row % 2) << 31) / static_cast<std::uint64_t>(columns)));
      y.push_back(static_cast<std::uint32_t>((row << 32) / static_cast<std::uint64_t>(rows)));
    }
    return finder.Find(x, y, side_x, side_y, 1.25);
  }
};

/// A square lattice of length x length sites with spacing 1.
struct SquareTorus : SiteTorus {
  explicit SquareTorus(int length) : SiteTorus(length, length) {}

  /// Clusters of the chosen sites.
  std::span<const kernels::Cluster> Clusters(kernels::ClusterFinder& finder) const {
    std::vector<std::uint32_t> x, y;
    const auto length = static_cast<std::uint64_t>(columns);
    for (std::size_t site = 0; site < chosen.size(); ++site) {
      if (chosen[site] == 0) continue;
      x.push_back(static_cast<std::uint32_t>((site % length << 32) / length));
      y.push_back(static_cast<std::uint32_t>((site / length << 32) / length));
    }
    return finder.Find(x, y, columns, columns, 1.2);
  }
};

}  // namespace gyrebox
