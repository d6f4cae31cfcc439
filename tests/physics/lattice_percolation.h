/// Random site percolation on lattices, analysed by the engine's cluster finder: one bead per site, bonds to nearest
/// neighbours.
#pragma once

#include <algorithm>
#include <numeric>
#include <span>
#include <vector>

#include "thresholds.h"
#include "unit/lattice.h"

namespace gyrebox {

/// Site percolation threshold of the square lattice (Jacobsen, J. Phys. A 47, 135001 (2014); from memory); that of the
/// triangular lattice is exactly 1/2.
inline constexpr double kSquareThreshold = 0.592746050792102;

/// Clusters of `size` sites by perimeter: entry k counts the shapes with `fewest + k` perimeter sites.
struct Animals {
  int size, fewest;
  std::vector<int> shapes;

  /// Mean number of such clusters per site of an infinite lattice at occupation probability p.
  double PerSite(double p) const {
    double sum = 0;
    for (std::size_t k = 0; k < shapes.size(); ++k) {
      sum += shapes[k] * std::pow(1 - p, fewest + static_cast<int>(k));
    }
    return std::pow(p, size) * sum;
  }
  int count() const { return std::accumulate(shapes.begin(), shapes.end(), 0); }
};

/// Computed separately by complete enumeration.
inline const std::vector<Animals> kTriangularAnimals = {
    {1, 6, {1}},
    {2, 8, {3}},
    {3, 9, {2, 9}},
    {4, 10, {3, 12, 29}},
    {5, 11, {6, 21, 66, 93}},
    {6, 12, {14, 43, 153, 298, 306}},
};
inline const std::vector<Animals> kSquareAnimals = {{1, 4, {1}}, {2, 6, {2}}, {3, 7, {4, 2}}, {4, 8, {9, 8, 2}}};

/// Compares the number of clusters of each small size per site with the lattice animals. @param largest_error maximum
/// relative error, of the rarest size.
template <class Torus>
void ExpectAnimals(Torus torus, const std::vector<Animals>& animals, double probability, int beds,
                   double largest_error) {
  std::mt19937_64 random(31);
  kernels::ClusterFinder finder;
  std::vector<Estimate> per_site(animals.size());
  for (int bed = 0; bed < beds; ++bed) {
    torus.ChooseAtRandom(probability, random);
    std::vector<double> count(animals.size(), 0);
    for (const kernels::Cluster& cluster : torus.Clusters(finder)) {
      const auto k = static_cast<std::size_t>(cluster.size) - 1;
      if (k < count.size()) ++count[k];
    }
    for (std::size_t k = 0; k < count.size(); ++k) per_site[k].Add(count[k] / torus.sites());
  }
  for (std::size_t k = 0; k < animals.size(); ++k) {
    SCOPED_TRACE(testing::Message() << "clusters of " << k + 1 << " at " << probability);
    ExpectAgrees(per_site[k], animals[k].PerSite(probability), largest_error);
  }
}

/// Number of clusters and fractions of beds that wrap, at one probability.
struct Census {
  Estimate clusters, along_x, along_y, any, two_directions;
};

template <class Torus>
Census CensusOf(Torus torus, double probability, int beds, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  kernels::ClusterFinder finder;
  Census census;
  for (int bed = 0; bed < beds; ++bed) {
    torus.ChooseAtRandom(probability, random);
    const auto clusters = torus.Clusters(finder);
    const GoesRound round(clusters);
    census.clusters.Add(static_cast<double>(clusters.size()));
    census.along_x.Add(round.along_x);
    census.along_y.Add(round.along_y);
    census.any.Add(round.directions > 0);
    census.two_directions.Add(round.directions == 2);
  }
  return census;
}

/// Exact for infinite square beds at the threshold of any lattice: fractions of beds in which a cluster wraps along one
/// axis, at all, and in two directions; the last is the complement of the second (Pinson, J. Stat. Phys. 75, 1167
/// (1994); values from memory).
inline void ExpectUniversalFractions(const Census& census) {
  ExpectAgrees(census.along_x, 0.521058, 0.02);
  ExpectAgrees(census.along_y, 0.521058, 0.02);
  ExpectAgrees(census.any, 0.690474, 0.02);
  ExpectAgrees(census.two_directions, 1 - 0.690474, 0.02);
}

/// Excess number of clusters of a finite square bed at the threshold of any lattice, over the infinite-bed number per
/// site times the sites (Ziff, Finch & Adamchik, Phys. Rev. Lett. 79, 3447 (1997); from memory).
inline constexpr double kExcessClusters = 0.8835;

/// Exact: n(p) - n(1 - p) = p - 3 p^2 + 2 p^3 for the clusters per site of a triangular lattice, not counting clusters
/// that wrap in both directions (Sykes & Essam, J. Math. Phys. 5, 1117 (1964); on a torus Mertens & Ziff,
/// arXiv:1603.07289).
inline void ExpectMatchingClusters(double p, int beds, double largest_error) {
  std::mt19937_64 random(32);
  kernels::ClusterFinder finder;
  Estimate difference;
  const auto per_site = [&](double probability) {
    TriangularTorus torus(64);
    torus.ChooseAtRandom(probability, random);
    const auto clusters = torus.Clusters(finder);
    return (static_cast<double>(clusters.size()) - (GoesRound(clusters).directions == 2)) / torus.sites();
  };
  for (int bed = 0; bed < beds; ++bed) difference.Add(per_site(p) - per_site(1 - p));
  ExpectAgrees(difference, p - 3 * p * p + 2 * p * p * p, largest_error);
}

inline std::vector<Thresholds> TriangularThresholds(int length, int beds, std::uint64_t seed) {
  std::mt19937_64 random(seed);
  kernels::ClusterFinder finder;
  TriangularTorus torus(length);
  std::vector<int> order(torus.chosen.size());
  std::iota(order.begin(), order.end(), 0);
  std::vector<Thresholds> out;
  for (int bed = 0; bed < beds; ++bed) {
    std::shuffle(order.begin(), order.end(), random);
    out.push_back(ThresholdsOf(static_cast<int>(order.size()), random, [&](int taken) {
      std::fill(torus.chosen.begin(), torus.chosen.end(), char{0});
      for (int k = 0; k < taken; ++k) torus.chosen[order[k]] = 1;
      return GoesRound(torus.Clusters(finder)).directions;
    }));
  }
  return out;
}

}  // namespace gyrebox
