// Clusters on the Delaunay triangulation of random points. The identities are exact for every bed.
#include "delaunay.h"

#include <gtest/gtest.h>

#include <numbers>

namespace gyrebox {
namespace {

using kernels::Bond;

// Exact: Euler's formula on a torus.
TEST(DelaunayTorus, HasSixNeighborsOnAverage) {
  std::mt19937_64 random(1);
  for (const int n : {100, 300, 1000, 3000}) {
    const DelaunayTorus torus(n, random);
    EXPECT_EQ(torus.edges.size(), 3u * static_cast<unsigned>(n));
    EXPECT_EQ(torus.triangles.size(), 2u * static_cast<unsigned>(n));
    double longest = 0;
    for (const Bond& edge : torus.edges) longest = std::max(longest, torus.LengthOf(edge));
    EXPECT_LT(longest, 0.5);
  }
}

// The mean edge length of random points is exactly 32/(9 pi) divided by the square root of the density (Miles, Math.
// Biosci. 6, 85 (1970); from memory). The variance of the number of neighbours and the fractions with five and six are
// from memory, to the digits given.
TEST(DelaunayTorus, OfRandomPointsHasTheKnownEdgesAndNeighbors) {
  std::mt19937_64 random(2);
  Estimate edge_length, variance, five, six;
  for (int bed = 0; bed < 60; ++bed) {
    const DelaunayTorus torus(2000, random);
    double length = 0, square = 0;
    for (const Bond& edge : torus.edges) length += torus.LengthOf(edge) / 6000;
    const std::vector<int> counts = torus.NeighborCounts();
    for (const int count : counts) square += (count - 6) * (count - 6) / 2000.0;
    edge_length.Add(length * std::sqrt(2000.0));
    variance.Add(square);
    five.Add(static_cast<double>(std::count(counts.begin(), counts.end(), 5)) / 2000);
    six.Add(static_cast<double>(std::count(counts.begin(), counts.end(), 6)) / 2000);
  }
  ExpectAgrees(edge_length, 32 / (9 * std::numbers::pi));
  EXPECT_NEAR(variance.mean(), 1.78, 0.005 + 5 * variance.error());
  EXPECT_NEAR(five.mean(), 0.26, 0.005 + 5 * five.error());
  EXPECT_NEAR(six.mean(), 0.29, 0.005 + 5 * six.error());
}

// Exact for every choice of sites of a triangulated torus: clusters of chosen sites - clusters of the others = V - E +
// T + [chosen sites wrap both ways] - [others wrap both ways], where V, E, T count chosen sites, bonds and triangles.
TEST(DelaunayTorus, ClustersObeyEulersIdentity) {
  std::mt19937_64 random(3);
  kernels::ClusterFinder finder;
  int wraps = 0, beds = 0;
  for (const double probability : {0.05, 0.2, 0.4, 0.45, 0.5, 0.55, 0.6, 0.8, 0.95}) {
    for (int k = 0; k < 30; ++k, ++beds) {
      const DelaunayTorus torus(k % 2 == 0 ? 200 : 800, random);
      const Colouring colouring(torus, probability, random);
      const auto chosen = colouring.Clusters(finder, true);
      const int chosen_count = static_cast<int>(chosen.size()), chosen_round = GoesRound(chosen).directions;
      const auto others = colouring.Clusters(finder, false);
      const int others_count = static_cast<int>(others.size()), others_round = GoesRound(others).directions;
      const int chosen_wrap = chosen_round == 2, others_wrap = others_round == 2;
      ASSERT_EQ(chosen_count - others_count, colouring.Characteristic() + chosen_wrap - others_wrap) << probability;
      // One kind wraps in both directions exactly where the other does not wrap at all.
      ASSERT_EQ(others_wrap, chosen_round == 0 ? 1 : 0) << probability;
      wraps += chosen_wrap + others_wrap;
    }
  }
  EXPECT_GT(wraps, beds / 2);
  EXPECT_LT(wraps, beds);
}

TEST(DelaunayTorus, OfRandomPointsPercolatesAtOneHalf) {
  const auto small = DelaunayThresholds(100, 400, 4), large = DelaunayThresholds(800, 200, 5);
  ExpectAgrees(MiddleOf(small), 0.5, 0.01);
  ExpectAgrees(MiddleOf(large), 0.5, 0.01);
  EXPECT_LT(SpreadOf(large), SpreadOf(small));
}

}  // namespace
}  // namespace gyrebox
