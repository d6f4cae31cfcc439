/// Sites occupied in a random order, and the occupation at which their clusters begin to wrap.
#pragma once

#include <algorithm>
#include <cmath>
#include <random>
#include <span>
#include <vector>

#include "measure/clusters/clusters.h"
#include "unit/estimate.h"

namespace gyrebox {

/// Whether and how the clusters of a bed wrap.
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

/// Each site has a random number between 0 and 1; sites with a number under p are occupied. `any` is the p from which a
/// cluster wraps, `both` the p from which one wraps in both directions.
///
/// On a triangulated torus the mean of the two averages exactly 1/2 for any number of sites: the empty sites wrap in
/// both directions exactly where the occupied sites do not wrap at all. Since both thresholds coincide in an infinite
/// bed, its threshold is 1/2 (Sykes & Essam, J. Math. Phys. 5, 1117 (1964), for lattices; Bollobas & Riordan, Probab.
/// Theory Relat. Fields 136, 417 (2006), for the regions around random points; from memory).
struct Thresholds {
  double any = 0, both = 0;
};

/// @param directions function of the number of occupied sites: the number of directions in which their clusters wrap.
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
