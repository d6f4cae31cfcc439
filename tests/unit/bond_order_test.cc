#include "measure/pairs/bond_order.h"

#include <gtest/gtest.h>

#include "estimate.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

TEST(TriangularCrystal, HasPerfectHexaticOrder) {
  CellList scratch;
  const BondOrder order = MeasureBondOrder(TriangularCrystal(12, 14, 1.1), scratch);
  EXPECT_NEAR(order.local, 1, 1e-8);
  EXPECT_NEAR(order.global, 1, 1e-8);
  EXPECT_TRUE(std::isnan(order.same_kind_fraction));
}

// Exact: directions to the six nearest of random beads are independent, so |psi6|^2 has mean 1/6.
TEST(IdealGas, HasTheOrderOfRandomDirections) {
  std::mt19937 random(1);
  CellList scratch;
  Estimate square;
  for (int k = 0; k < 400; ++k) {
    std::vector<std::complex<double>> psi6;
    MeasureBondOrder(RandomSnapshot(500, 20, 25, 0, random), scratch, &psi6);
    double sum = 0;
    for (const auto& psi : psi6) sum += std::norm(psi);
    square.Add(sum / 500);
  }
  ExpectAgrees(square, 1.0 / 6);
}

// psi6 of a bead by sorting all others by distance.
std::complex<double> BySorting(const Snapshot& bed, std::size_t i) {
  std::vector<std::pair<double, double>> others;  // distance, angle
  for (std::size_t j = 0; j < bed.x.size(); ++j) {
    if (j == i) continue;
    const double dx = Difference(bed.x[i], bed.x[j], bed.side_x * 0x1p-32);
    const double dy = Difference(bed.y[i], bed.y[j], bed.side_y * 0x1p-32);
    others.push_back({std::hypot(dx, dy), std::atan2(dy, dx)});
  }
  std::sort(others.begin(), others.end());
  std::complex<double> sum;
  for (int k = 0; k < 6; ++k) sum += std::polar(1.0, 6 * others[static_cast<std::size_t>(k)].second);
  return sum / 6.0;
}

TEST(BondOrder, IsThatOfTheSixNearestHoweverFar) {
  std::mt19937 random(2);
  std::normal_distribution<double> spread(0, 0.6);
  CellList scratch;
  for (const int in_crowd : {0, 100, 180}) {
    Snapshot bed = RandomSnapshot(200 - in_crowd, 50, 30, 0.5, random);
    for (int i = 0; i < in_crowd; ++i) AddBead(bed, 49.9 + spread(random), 12 + spread(random));
    std::vector<std::complex<double>> psi6;
    const BondOrder order = MeasureBondOrder(bed, scratch, &psi6);
    double moduli = 0;
    std::complex<double> sum;
    for (std::size_t i = 0; i < 200; ++i) {
      const auto truth = BySorting(bed, i);
      ASSERT_NEAR(std::abs(psi6[i] - truth), 0, 1e-9) << i;
      moduli += std::abs(truth) / 200;
      sum += truth / 200.0;
    }
    EXPECT_NEAR(order.local, moduli, 1e-9);
    EXPECT_NEAR(order.global, std::abs(sum), 1e-9);
  }
}

// A bead of a square crystal has four neighbours at the first distance and four at the next; any two of the latter
// count.
TEST(SameKindNeighbors, OfACheckerboardAreTwoOfSix) {
  Snapshot bed = SquareCrystal(16, 8, 1);
  for (std::size_t i = 0; i < bed.x.size(); ++i) bed.spinner[i] = (i % 16 + i / 16) % 2 == 0;
  CellList scratch;
  EXPECT_DOUBLE_EQ(MeasureBondOrder(bed, scratch).same_kind_fraction, 2.0 / 6);
}

// Stripes of w rows of a triangular crystal: a bead at the edge has four neighbours of its kind, one inside has six.
TEST(SameKindNeighbors, OfStripesOfRowsAreCountedExactly) {
  CellList scratch;
  for (const std::size_t width : {1u, 2u, 4u, 8u}) {
    Snapshot bed = TriangularCrystal(16, 16, 1.1);
    for (std::size_t i = 0; i < bed.x.size(); ++i) bed.spinner[i] = i / 16 / width % 2 == 0;
    const double w = static_cast<double>(width);
    const double truth = width == 1 ? 2.0 / 6 : (2 * 4 + (w - 2) * 6) / (6 * w);
    EXPECT_DOUBLE_EQ(MeasureBondOrder(bed, scratch).same_kind_fraction, truth) << width;
  }
}

TEST(BondOrder, NeedsSevenBeads) {
  std::mt19937 random(3);
  CellList scratch;
  EXPECT_TRUE(std::isnan(MeasureBondOrder(RandomSnapshot(6, 10, 10, 1, random), scratch).local));
  const BondOrder order = MeasureBondOrder(RandomSnapshot(7, 10, 10, 1, random), scratch);
  EXPECT_GT(order.local, 0);
  EXPECT_EQ(order.same_kind_fraction, 1);
}

TEST(BondOrder, DoesNotDependOnOrderOrOrigin) {
  std::mt19937 random(4);
  CellList scratch;
  const Snapshot bed = RandomSnapshot(300, 15, 18, 0.4, random);
  const BondOrder truth = MeasureBondOrder(bed, scratch);
  for (const Snapshot& other : {Shuffled(bed, random), Shifted(bed, random)}) {
    const BondOrder found = MeasureBondOrder(other, scratch);
    EXPECT_NEAR(found.local, truth.local, 1e-12);
    EXPECT_NEAR(found.global, truth.global, 1e-12);
    EXPECT_DOUBLE_EQ(found.same_kind_fraction, truth.same_kind_fraction);
  }
}

}  // namespace
}  // namespace gyrebox::kernels
