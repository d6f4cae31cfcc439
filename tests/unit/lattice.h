/// Sites of a triangular lattice on a torus, some of them chosen.
#pragma once

#include <cmath>
#include <cstdint>
#include <random>
#include <vector>

#include "measure/clusters.h"

namespace gyrebox {

/// length rows of length sites each, distance 1 between neighbours; length a power of two, so that places are exact.
struct TriangularTorus {
  int length;
  double side_x = length, side_y = length * std::sqrt(3.0) / 2;
  std::vector<char> chosen = std::vector<char>(static_cast<std::size_t>(length) * length, 0);

  explicit TriangularTorus(int length) : length(length) {}

  void ChooseAtRandom(double probability, std::mt19937_64& random) {
    std::bernoulli_distribution chance(probability);
    for (char& site : chosen) site = chance(random) ? 1 : 0;
  }

  bool At(int column, int row) const {
    const int mask = length - 1;
    return chosen[static_cast<std::size_t>(row & mask) * length + (column & mask)] != 0;
  }
  bool Right(int column, int row) const { return At(column + 1, row); }
  bool UpRight(int column, int row) const { return At(column + row % 2, row + 1); }
  bool UpLeft(int column, int row) const { return At(column + row % 2 - 1, row + 1); }

  /// Clusters of the sites that are `chosen`, or of the others.
  std::span<const kernels::Cluster> Clusters(kernels::ClusterFinder& finder, bool of_chosen = true) const {
    std::vector<std::uint32_t> x, y;
    const std::uint32_t half_step = (1u << 31) / static_cast<std::uint32_t>(length);
    for (int row = 0; row < length; ++row) {
      for (int column = 0; column < length; ++column) {
        if (At(column, row) != of_chosen) continue;
        x.push_back(static_cast<std::uint32_t>(2 * column + row % 2) * half_step);
        y.push_back(static_cast<std::uint32_t>(2 * row) * half_step);
      }
    }
    return finder.Find(x, y, side_x, side_y, 1.25);
  }
};

}  // namespace gyrebox
