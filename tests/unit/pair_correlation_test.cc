#include "measure/pairs/pair_correlation.h"

#include <gtest/gtest.h>

#include <numbers>
#include <tuple>

#include "estimate.h"
#include "snapshots.h"

namespace gyrebox::kernels {
namespace {

using Curve = PairCorrelation::Curve;

double RingArea(std::size_t bin) {
  return std::numbers::pi * kDistanceBin * kDistanceBin * (2 * static_cast<double>(bin) + 1);
}

// Exact: numbers of beads around a bead of a triangular crystal, by distance over spacing.
TEST(TriangularCrystal, HasItsShellsOfNeighbors) {
  const double spacing = 1.09;
  const Snapshot bed = TriangularCrystal(16, 16, spacing);
  CellList scratch;
  const Curve g = MeasurePairCorrelation(bed, scratch).passive_passive;
  const double others_density = 255 / (bed.side_x * bed.side_y);
  double total = 0;
  for (std::size_t bin = 0; bin < kDistanceBins; ++bin) total += g[bin] * others_density * RingArea(bin);
  EXPECT_NEAR(total, 6 + 6 + 6 + 12 + 6 + 6 + 12, 1e-9);
  for (const auto& [square, count] : {std::pair{1, 6}, {3, 6}, {4, 6}, {7, 12}, {9, 6}, {12, 6}, {13, 12}}) {
    const auto bin = static_cast<std::size_t>(std::sqrt(square) * spacing / kDistanceBin);
    EXPECT_NEAR(g[bin] * others_density * RingArea(bin), count, 1e-9) << square;
  }
}

// Exact: random beads have g = 1 for every kind of pair, at any number of beads.
TEST(IdealGas, HasNoCorrelation) {
  std::mt19937 random(1);
  CellList scratch;
  constexpr std::size_t kTogether = 20;
  Estimate estimates[3][kDistanceBins / kTogether];
  for (int k = 0; k < 2000; ++k) {
    Snapshot bed = RandomSnapshot(60, 11, 9, 0, random);
    std::fill_n(bed.spinner.begin(), 25, std::uint8_t{1});
    const PairCorrelation g = MeasurePairCorrelation(bed, scratch);
    const Curve* curves[] = {&g.spinner_spinner, &g.spinner_passive, &g.passive_passive};
    for (std::size_t kind = 0; kind < 3; ++kind) {
      for (std::size_t first = 0; first < kDistanceBins; first += kTogether) {
        double pairs = 0, area = 0;
        for (std::size_t bin = first; bin < first + kTogether; ++bin) {
          pairs += (*curves[kind])[bin] * RingArea(bin);
          area += RingArea(bin);
        }
        estimates[kind][first / kTogether].Add(pairs / area);
      }
    }
  }
  for (const auto& kind : estimates) {
    for (const Estimate& estimate : kind) ExpectAgrees(estimate, 1, 0.05);
  }
}

// Pairs of a kind by distance bin, counted over all pairs.
std::vector<int> CountOneByOne(const Snapshot& bed, int spinners) {
  std::vector<int> counts(kDistanceBins);
  for (std::size_t i = 0; i < bed.x.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      const double r = std::hypot(Difference(bed.x[i], bed.x[j], bed.side_x * 0x1p-32),
                                  Difference(bed.y[i], bed.y[j], bed.side_y * 0x1p-32));
      const auto bin = static_cast<std::size_t>(r / kDistanceBin);
      if (bed.spinner[i] + bed.spinner[j] == spinners && bin < kDistanceBins) ++counts[bin];
    }
  }
  return counts;
}

// A dense bed, one so sparse that cells are far wider than the furthest bin, a narrow one and a small one: every way of
// searching cells.
TEST(PairCorrelation, CountsEveryPairOnce) {
  std::mt19937 random(5);
  CellList scratch;
  for (const auto& [n, x, y] : {std::tuple{700, 29., 23.}, {300, 900., 700.}, {400, 9., 300.}, {150, 10., 11.}}) {
    const Snapshot bed = RandomSnapshot(n, x, y, 0.4, random);
    const PairCorrelation g = MeasurePairCorrelation(bed, scratch);
    const auto spinners = static_cast<double>(std::count(bed.spinner.begin(), bed.spinner.end(), 1));
    const double passive = n - spinners;
    const std::tuple<const Curve*, int, double> kinds[] = {{&g.spinner_spinner, 2, spinners * (spinners - 1) / 2},
                                                           {&g.spinner_passive, 1, spinners * passive},
                                                           {&g.passive_passive, 0, passive * (passive - 1) / 2}};
    for (const auto& [curve, in_pair, pairs] : kinds) {
      const std::vector<int> counts = CountOneByOne(bed, in_pair);
      for (std::size_t bin = 0; bin < kDistanceBins; ++bin) {
        if (std::isnan((*curve)[bin])) continue;
        ASSERT_NEAR((*curve)[bin] * pairs * RingArea(bin) / (x * y), counts[bin], 1e-6) << n << " " << bin;
      }
    }
  }
}

TEST(PairCorrelation, DistinguishesTheKindsOfPair) {
  Snapshot bed = EmptySnapshot(20, 20);
  AddBead(bed, 19.5, 5, true);
  AddBead(bed, 0.51, 5, true);      // 1.01 from the first, across the boundary
  AddBead(bed, 19.5, 6.21, false);  // 1.21 from the first
  AddBead(bed, 10, 15, false);
  CellList scratch;
  const PairCorrelation g = MeasurePairCorrelation(bed, scratch);
  EXPECT_NEAR(g.spinner_spinner[50], 400 / RingArea(50), 1e-9);
  EXPECT_NEAR(g.spinner_passive[60], 400 / (4 * RingArea(60)), 1e-9);
  for (const double value : g.passive_passive) EXPECT_EQ(value, 0);
}

TEST(PairCorrelation, IsNotANumberBeyondHalfASideOrWithoutPairs) {
  Snapshot bed = EmptySnapshot(5, 20);
  AddBead(bed, 1, 1, true);
  AddBead(bed, 2, 1, false);
  CellList scratch;
  const PairCorrelation g = MeasurePairCorrelation(bed, scratch);
  for (std::size_t bin = 0; bin < kDistanceBins; ++bin) {
    EXPECT_TRUE(std::isnan(g.spinner_spinner[bin]) && std::isnan(g.passive_passive[bin]));
    EXPECT_EQ(std::isnan(g.spinner_passive[bin]), bin >= 125) << bin;
  }
}

TEST(PairCorrelation, DoesNotDependOnOrderOrOrigin) {
  std::mt19937 random(2);
  CellList scratch;
  const Snapshot bed = RandomSnapshot(300, 15, 18, 0.4, random);
  const PairCorrelation truth = MeasurePairCorrelation(bed, scratch);
  for (const Snapshot& other : {Shuffled(bed, random), Shifted(bed, random)}) {
    const PairCorrelation found = MeasurePairCorrelation(other, scratch);
    EXPECT_EQ(found.spinner_spinner, truth.spinner_spinner);
    EXPECT_EQ(found.spinner_passive, truth.spinner_passive);
    EXPECT_EQ(found.passive_passive, truth.passive_passive);
  }
}

}  // namespace
}  // namespace gyrebox::kernels
