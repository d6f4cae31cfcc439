/// Sites taken one after another in a random order, and when their clusters begin to go round.
#pragma once

#include <algorithm>
#include <cmath>
#include <random>
#include <span>
#include <vector>

#include "measure/clusters.h"
#include "unit/estimate.h"

namespace gyrebox {

/// Ways in which the clusters of a bed go round.
struct GoesRound {
  bool along_x = false, along_y = false;
  int directions = 0;
  explicit GoesRound(std::span<const kernels::Cluster> clusters) {
    for (const kernels::Cluster& cluster : clusters) {
      along_x |= cluster.wraps_x;
      along_y |= cluster.wraps_y;
      directions = std::max(directions, cluster.wrap_directions);
    }
  }
};

/// Every site has a number anywhere between 0 and 1, and those under p are taken: the p from which a cluster goes
/// round, and from which one does in both directions.
///
/// On a torus of triangles the middle of the two is 1/2 on average, exactly and for any number of sites: the sites not
/// taken go round in both directions just where those taken do not go round at all. Since both thresholds meet in an
/// endless bed, its threshold is 1/2 (Sykes & Essam, J. Math. Phys. 5, 1117 (1964), for lattices; Bollobas & Riordan,
/// Probab. Theory Relat. Fields 136, 417 (2006), for the regions around random points; from memory).
struct Thresholds {
  double any = 0, both = 0;
};

/// @param directions function of the number of sites taken: in how many directions their clusters go round.
template <class Directions>
Thresholds ThresholdsOf(int n_sites, std::mt19937_64& random, Directions directions) {
  std::vector<double> numbers;
  for (int i = 0; i < n_sites; ++i) numbers.push_back(static_cast<double>(random() >> 11) * 0x1p-53);
  std::sort(numbers.begin(), numbers.end());
  const auto first = [&](int wanted) {
    int without = 0, with = n_sites;
    while (with - without > 1) {
      const int middle = (with + without) / 2;
      (directions(middle) >= wanted ? with : without) = middle;
    }
    return numbers[static_cast<std::size_t>(with) - 1];
  };
  return {first(1), first(2)};
}

inline Estimate MiddleOf(const std::vector<Thresholds>& beds) {
  Estimate middle;
  for (const Thresholds& bed : beds) middle.Add((bed.any + bed.both) / 2);
  return middle;
}

/// Standard deviation of the first threshold. Its relative error is about 1/sqrt(2 beds).
inline double SpreadOf(const std::vector<Thresholds>& beds) {
  Estimate any;
  for (const Thresholds& bed : beds) any.Add(bed.any);
  return any.error() * std::sqrt(any.count - 1.0);
}

}  // namespace gyrebox
