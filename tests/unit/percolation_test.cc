#include <gtest/gtest.h>

#include <map>

#include "lattice.h"

namespace gyrebox {
namespace {

// Computed separately by counting lattice animals: clusters of s sites per site of the triangular lattice at its
// threshold, p = 1/2.
TEST(TriangularTorus, AtItsThresholdHasTheCountsOfLatticeAnimals) {
  const double truth[] = {0, 0.00781250, 0.00292969, 0.00158691, 0.00099182, 0.00068092, 0.00049639};
  std::mt19937_64 random(21);
  kernels::ClusterFinder finder;
  std::map<std::int64_t, double> count;
  const int samples = 20, length = 1024;
  for (int k = 0; k < samples; ++k) {
    TriangularTorus torus(length);
    torus.ChooseAtRandom(0.5, random);
    for (const kernels::Cluster& cluster : torus.Clusters(finder)) ++count[cluster.size];
  }
  const double sites = static_cast<double>(samples) * length * length;
  EXPECT_NEAR(count[1] / sites, truth[1], 0.01 * truth[1]);
  for (int s = 2; s <= 6; ++s) EXPECT_NEAR(count[s] / sites, truth[s], 0.05 * truth[s]) << s;
}

// Clusters per site at the threshold, from memory of Ziff, Finch & Adamchik, Phys. Rev. Lett. 79, 3447 (1997); the
// finite-size correction is below a millionth.
TEST(TriangularTorus, AtItsThresholdHasTheNumberOfClusters) {
  std::mt19937_64 random(22);
  kernels::ClusterFinder finder;
  double clusters = 0;
  const int samples = 20, length = 1024;
  for (int k = 0; k < samples; ++k) {
    TriangularTorus torus(length);
    torus.ChooseAtRandom(0.5, random);
    clusters += static_cast<double>(torus.Clusters(finder).size());
  }
  EXPECT_NEAR(clusters / (static_cast<double>(samples) * length * length), 0.0176255, 0.0002);
}

}  // namespace
}  // namespace gyrebox
