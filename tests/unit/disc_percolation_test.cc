#include <gtest/gtest.h>

#include <numbers>

#include "measure/clusters/clusters.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

// Percolation threshold of overlapping discs of radius r, density times pi r^2 (Mertens & Moore, Phys. Rev. E 86,
// 061109 (2012)).
constexpr double kThreshold = 1.12808737;

constexpr int kBeds = 600;

// Fraction of beds of random discs in which some cluster wraps. Discs overlap where centres are within two radii.
double FractionThatWraps(double eta, unsigned seed) {
  constexpr double kSide = 48, kBond = 1;
  std::mt19937 random(seed);
  ClusterFinder finder;
  int wrap = 0;
  const double mean = eta * kSide * kSide / (std::numbers::pi * kBond * kBond / 4);
  std::poisson_distribution<int> count(mean);
  for (int k = 0; k < kBeds; ++k) {
    const Snapshot bed = RandomSnapshot(count(random), kSide, kSide, 1, random);
    const auto clusters = finder.Find(bed.x, bed.y, kSide, kSide, kBond);
    wrap += std::any_of(clusters.begin(), clusters.end(), [](const Cluster& c) { return c.wrap_directions > 0; });
  }
  return static_cast<double>(wrap) / kBeds;
}

// Maximum standard error of a fraction.
const double kError = 0.5 / std::sqrt(kBeds);

TEST(OverlappingDiscs, PercolateAtTheirThreshold) {
  const double below = FractionThatWraps(0.9 * kThreshold, 1);
  const double at = FractionThatWraps(kThreshold, 2);
  const double above = FractionThatWraps(1.1 * kThreshold, 3);
  // Five standard errors of a difference (false-positive probability 3e-7).
  EXPECT_GT(at - below, 5 * std::sqrt(2.0) * kError);
  EXPECT_GT(above - at, 5 * std::sqrt(2.0) * kError);
}

// Exact for large square beds at any threshold in two dimensions: some cluster wraps with probability 0.690474 (Pinson,
// J. Stat. Phys. 75, 1167 (1994); value from memory).
TEST(OverlappingDiscs, WrapAtTheirThresholdWithTheUniversalProbability) {
  EXPECT_NEAR(FractionThatWraps(kThreshold, 4), 0.690474, 5 * kError);
}

}  // namespace
}  // namespace gyrebox::kernels
