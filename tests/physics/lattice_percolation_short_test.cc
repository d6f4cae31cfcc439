// Short versions of the slow site percolation tests: the same statistics, wider bounds.
#include <gtest/gtest.h>

#include "lattice_percolation.h"

namespace gyrebox {
namespace {

TEST(SquareTorus, HasTheCountsOfLatticeAnimals) { ExpectAnimals(SquareTorus(64), kSquareAnimals, 0.4, 500, 0.02); }

TEST(TriangularTorus, HasTheCountsOfLatticeAnimals) {
  ExpectAnimals(TriangularTorus(64), kTriangularAnimals, 0.3, 500, 0.03);
}

TEST(TriangularTorus, HasMatchingClustersOfOccupiedAndEmptySites) { ExpectMatchingClusters(0.2, 300, 0.02); }

TEST(SquareTorus, WrapsAtItsThresholdWithTheUniversalProbabilities) {
  const Census census = CensusOf(SquareTorus(16), kSquareThreshold, 20000, 41);
  ExpectUniversalFractions(census);
  ExpectAgrees(census.clusters, 256 * 0.0275981 + kExcessClusters, 0.01);
}

TEST(TriangularTorus, WrapsAtItsThresholdWithTheUniversalProbabilities) {
  const Census census = CensusOf(TriangularTorus(26, 30), 0.5, 10000, 42);
  ExpectUniversalFractions(census);
  ExpectAgrees(census.clusters, 26 * 30 * 0.0176255 + kExcessClusters, 0.01);
}

TEST(TriangularTorus, PercolatesAtOneHalf) {
  const auto small = TriangularThresholds(16, 500, 46), large = TriangularThresholds(32, 500, 47);
  ExpectAgrees(MiddleOf(small), 0.5, 0.005);
  ExpectAgrees(MiddleOf(large), 0.5, 0.005);
  EXPECT_LT(SpreadOf(large), SpreadOf(small));
}

}  // namespace
}  // namespace gyrebox
