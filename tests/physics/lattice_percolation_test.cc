// Site percolation on lattices at and near the thresholds.
#include "lattice_percolation.h"

#include <gtest/gtest.h>

#include "delaunay.h"

namespace gyrebox {
namespace {

// A triangular bed with nearly equal sides: 26 columns and 30 rows of height sqrt(3)/2.
TriangularTorus SquareShaped() { return TriangularTorus(26, 30); }

TEST(SquareTorus, HasTheCountsOfLatticeAnimals) {
  for (const double p : {0.2, 0.4, 0.6}) ExpectAnimals(SquareTorus(64), kSquareAnimals, p, 10000, 0.01);
}

TEST(TriangularTorus, HasTheCountsOfLatticeAnimals) {
  for (const double p : {0.15, 0.3, 0.45}) ExpectAnimals(TriangularTorus(64), kTriangularAnimals, p, 10000, 0.01);
}

TEST(TriangularTorus, HasMatchingClustersOfOccupiedAndEmptySites) {
  for (const double p : {0.1, 0.2, 0.3, 0.4}) ExpectMatchingClusters(p, 5000, 0.01);
}

TEST(SquareTorus, WrapsAtItsThresholdWithTheUniversalProbabilities) {
  ExpectUniversalFractions(CensusOf(SquareTorus(64), kSquareThreshold, 40000, 41));
}

TEST(TriangularTorus, WrapsAtItsThresholdWithTheUniversalProbabilities) {
  ExpectUniversalFractions(CensusOf(SquareShaped(), 0.5, 100000, 42));
}

// Clusters per site of infinite beds: from memory of Ziff, Finch & Adamchik, Phys. Rev. Lett. 79, 3447 (1997).
TEST(SquareTorus, AtItsThresholdHasTheNumberOfClusters) {
  ExpectAgrees(CensusOf(SquareTorus(16), kSquareThreshold, 200000, 43).clusters, 256 * 0.0275981 + kExcessClusters,
               0.002);
  ExpectAgrees(CensusOf(SquareTorus(512), kSquareThreshold, 200, 44).clusters, 512 * 512 * 0.0275981 + kExcessClusters,
               0.002);
}

TEST(TriangularTorus, AtItsThresholdHasTheNumberOfClustersOfAFiniteBed) {
  ExpectAgrees(CensusOf(SquareShaped(), 0.5, 200000, 45).clusters, 26 * 30 * 0.0176255 + kExcessClusters, 0.002);
}

TEST(TriangularTorus, PercolatesAtOneHalf) { ExpectAgrees(MiddleOf(TriangularThresholds(64, 2000, 46)), 0.5, 0.002); }

TEST(DelaunayTorus, OfRandomPointsPercolatesAtOneHalf) {
  const auto small = DelaunayThresholds(256, 2000, 51), large = DelaunayThresholds(4096, 500, 52);
  ExpectAgrees(MiddleOf(small), 0.5, 0.003);
  ExpectAgrees(MiddleOf(large), 0.5, 0.003);
  EXPECT_NEAR(SpreadOf(small) / SpreadOf(large), std::pow(16, 3.0 / 8), 0.5);
}

// Cluster-size exponents in two dimensions, arXiv:1101.0807: the fraction of sites in clusters of size s or more falls
// as s^(2 - tau).
TEST(TriangularTorus, AtItsThresholdHasThePowerLawOfSizes) {
  constexpr double kTau = 187.0 / 91, kFrom = 64, kTo = 4096;
  std::mt19937_64 random(47);
  kernels::ClusterFinder finder;
  Estimate from, to;
  for (int bed = 0; bed < 60; ++bed) {
    TriangularTorus torus(1024);
    torus.ChooseAtRandom(0.5, random);
    double in_from = 0, in_to = 0;
    for (const kernels::Cluster& cluster : torus.Clusters(finder)) {
      const auto size = static_cast<double>(cluster.size);
      if (size >= kFrom) in_from += size;
      if (size >= kTo) in_to += size;
    }
    from.Add(in_from / torus.sites());
    to.Add(in_to / torus.sites());
  }
  const double span = std::log(kTo / kFrom);
  const double tau = 2 - std::log(to.mean() / from.mean()) / span;
  const double error = std::hypot(to.error() / to.mean(), from.error() / from.mean()) / span;
  std::printf("  tau %.4f +- %.4f\n", tau, error);
  EXPECT_LT(error, 0.002);
  EXPECT_NEAR(tau, kTau, 0.002 + 5 * error);  // corrections to scaling are about 0.001 at the smallest size used
}

// The same exponents from finite-size scaling: the largest cluster grows as L^D, and the spread of thresholds shrinks
// as L^(-1/nu), where tau = 1 + 2/D and sigma = 1/(nu D).
TEST(TriangularTorus, ScalesWithItsLengthByTheExponentsOfTwoDimensions) {
  constexpr double kTau = 187.0 / 91, kSigma = 36.0 / 91;
  kernels::ClusterFinder finder;
  const auto largest = [&](int length, int beds) {
    std::mt19937_64 random(48);
    Estimate size;
    for (int bed = 0; bed < beds; ++bed) {
      TriangularTorus torus(length);
      torus.ChooseAtRandom(0.5, random);
      std::int64_t most = 0;
      for (const kernels::Cluster& cluster : torus.Clusters(finder)) most = std::max(most, cluster.size);
      size.Add(static_cast<double>(most));
    }
    return size;
  };
  const Estimate small = largest(32, 8000), large = largest(256, 1500);
  const double d = std::log(large.mean() / small.mean()) / std::log(8);
  const double d_error = std::hypot(large.error() / large.mean(), small.error() / small.mean()) / std::log(8);
  const int beds = 4000;
  const double spreads = SpreadOf(TriangularThresholds(16, beds, 49)) / SpreadOf(TriangularThresholds(64, beds, 50));
  const double inverse_nu = std::log(spreads) / std::log(4), nu_error = 1 / std::sqrt(1.0 * beds) / std::log(4);
  std::printf("  D %.4f +- %.4f, 1/nu %.4f +- %.4f\n", d, d_error, inverse_nu, nu_error);
  EXPECT_LT(d_error, 0.005);
  EXPECT_NEAR(1 + 2 / d, kTau, 0.003 + 5 * 2 / (d * d) * d_error);
  EXPECT_NEAR(inverse_nu / d, kSigma, 0.01 + 5 * nu_error / d);
}

}  // namespace
}  // namespace gyrebox
