#include "start/start.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "beds.h"

namespace gyrebox {
namespace {

using kernels::RunSpec;
using Arrangement = kernels::StartSpec::Arrangement;

double ClosestPair(const RunSpec& spec, const std::vector<reference::Bead>& beads) {
  double closest = 1e9;
  for (std::size_t i = 0; i < beads.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      closest = std::min(closest, std::hypot(std::remainder(beads[i].x - beads[j].x, spec.side_x),
                                             std::remainder(beads[i].y - beads[j].y, spec.side_y)));
    }
  }
  return closest;
}

TEST(RandomStart, KeepsTheRequestedClosestPair) {
  for (const double fraction : {0.1, 0.5, 0.7, 0.8}) {
    const RunSpec spec = DenseSpec(400, fraction);
    const auto start = kernels::GenerateInitialState(spec);
    EXPECT_EQ(start.failure, "");
    EXPECT_GE(ClosestPair(spec, BeadsOf(spec, start)), spec.start.closest_pair - 1e-6) << fraction;
  }
}

TEST(RandomStart, ReportsTheClosestPairReachedOnFailure) {
  RunSpec spec = DenseSpec(200, 0.9);
  spec.start.closest_pair = 0.99;
  EXPECT_NE(kernels::GenerateInitialState(spec).failure, "");
}

TEST(Start, HasTheRequestedNumberOfSpinners) {
  for (const std::int64_t spinners : {0, 1, 37, 200}) {
    RunSpec spec = DenseSpec(200);
    spec.n_spinners = spinners;
    const auto start = kernels::GenerateInitialState(spec);
    EXPECT_EQ(std::count(start.spinner.begin(), start.spinner.end(), 1), spinners);
  }
}

// Common practice: every bead is a spinner with the same probability.
TEST(Start, ScattersSpinnersEvenly) {
  std::vector<int> count(50, 0);
  const int seeds = 2000;
  for (int seed = 1; seed <= seeds; ++seed) {
    RunSpec spec = DenseSpec(50, 0.1);
    spec.start.closest_pair = 0;
    spec.n_spinners = 10;
    spec.seeds.positions = static_cast<std::uint64_t>(seed);
    const auto start = kernels::GenerateInitialState(spec);
    for (int i = 0; i < 50; ++i) count[i] += start.spinner[i];
  }
  for (const int c : count) EXPECT_NEAR(c, 0.2 * seeds, 5 * std::sqrt(0.2 * 0.8 * seeds));
}

TEST(Start, DependsOnItsPositionSeedAlone) {
  RunSpec spec = DenseSpec(100);
  const auto one = kernels::GenerateInitialState(spec);
  spec.seeds.noise = 99;
  spec.seeds.disorder = 99;
  EXPECT_EQ(kernels::GenerateInitialState(spec).x, one.x);
  EXPECT_EQ(kernels::GenerateInitialState(spec).spinner, one.spinner);
  spec.seeds.positions = 2;
  EXPECT_NE(kernels::GenerateInitialState(spec).x, one.x);
  EXPECT_NE(kernels::GenerateInitialState(spec).spinner, one.spinner);
}

TEST(TriangularStart, HasSixNeighboursAtOneDistance) {
  RunSpec spec;
  spec.n_beads = 12 * 14;
  spec.start.arrangement = Arrangement::kTriangular;
  const auto sides = kernels::FitSides(spec.start.arrangement, spec.n_beads, 0.8, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  EXPECT_TRUE(kernels::Validate(spec).empty());
  const auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
  // Exact: at packing fraction phi the spacing is sqrt(pi / (2 sqrt 3 phi)).
  const double spacing = std::sqrt(std::numbers::pi / (2 * std::numbers::sqrt3 * 0.8));
  EXPECT_NEAR(ClosestPair(spec, beads), spacing, 1e-6);
  for (const auto& bead : beads) {
    int neighbours = 0;
    for (const auto& other : beads) {
      const double r =
          std::hypot(std::remainder(bead.x - other.x, spec.side_x), std::remainder(bead.y - other.y, spec.side_y));
      neighbours += r > 0.1 && r < spacing + 1e-6;
    }
    ASSERT_EQ(neighbours, 6);
  }
}

// Exact.
TEST(FitSides, GivesThePackingFractionAndTheAspectRatio) {
  for (const double ratio : {0.5, 1.0, 2.0}) {
    const auto sides = kernels::FitSides(Arrangement::kRandom, 1536, 0.7, ratio);
    EXPECT_NEAR(1536 * std::numbers::pi / 4 / (sides.x * sides.y), 0.7, 1e-12);
    EXPECT_NEAR(sides.y / sides.x, ratio, 1e-12);
  }
}

TEST(Validate, FindsEachFaultAndNamesItsField) {
  const RunSpec sound = DenseSpec(100);
  EXPECT_TRUE(kernels::Validate(sound).empty());
  const auto field_of = [](const RunSpec& spec) {
    const auto faults = kernels::Validate(spec);
    return faults.size() == 1 ? faults[0].field : std::string("not one fault");
  };
  RunSpec spec = sound;
  spec.side_x = 3;
  EXPECT_EQ(field_of(spec), "side_x");
  spec = sound;
  spec.side_y = 1e6;
  EXPECT_EQ(field_of(spec), "side_y");
  spec = sound;
  spec.side_y = std::nan("");
  EXPECT_EQ(field_of(spec), "side_y");
  spec = sound;
  spec.n_spinners = 101;
  EXPECT_EQ(field_of(spec), "n_spinners");
  spec = sound;
  spec.n_beads = 101;
  spec.start.arrangement = Arrangement::kTriangular;
  EXPECT_EQ(field_of(spec), "n_beads");
}

}  // namespace
}  // namespace gyrebox
