#include <gtest/gtest.h>

#include <cmath>
#include <limits>

#include "beds.h"
#include "cpu/bed.h"
#include "measure/clusters/clusters.h"

namespace gyrebox {
namespace {

using kernels::Bed;
using kernels::RunSpec;

double Distance(const RunSpec& spec, const kernels::Bead& a, const kernels::Bead& b) {
  return std::hypot(std::remainder(b.x - a.x, spec.side_x), std::remainder(b.y - a.y, spec.side_y));
}

std::vector<std::uint32_t> ByTryingAll(const RunSpec& spec, const std::vector<kernels::Bead>& beads, std::uint32_t id,
                                       double distance) {
  std::vector<std::uint32_t> out;
  for (std::uint32_t other = 0; other < beads.size(); ++other) {
    if (other != id && Distance(spec, beads[id], beads[other]) < distance) out.push_back(other);
  }
  return out;
}

RunSpec DrivenSpec(std::int64_t n_beads, double packing_fraction) {
  RunSpec spec = DenseSpec(n_beads, packing_fraction);
  spec.n_steps = 1000000;
  spec.temperature = 0.002;
  spec.drive = {kernels::DriveSpec::Quantity::kRate, {kernels::WaveSpec::Shape::kSine, 28, 1}, {}};
  return spec;
}

void ExpectListsAreComplete(const RunSpec& spec, Bed& bed, int rounds, std::int64_t steps) {
  for (int round = 0; round < rounds; ++round) {
    ASSERT_EQ(bed.Advance(steps).verdict, kernels::Verdict::kRunning);
    const auto beads = bed.Beads();
    for (std::uint32_t id = 0; id < beads.size(); ++id) {
      ASSERT_EQ(bed.PartnersWithin(id, 1.3), ByTryingAll(spec, beads, id, 1.3)) << "bead " << id << ", round " << round;
    }
  }
}

TEST(PartnerLists, HoldAllPartnersThroughThousandsOfDrivenSteps) {
  for (const std::int64_t n : {40, 93, 512}) {
    const RunSpec spec = DrivenSpec(n, 0.7);
    Bed bed(spec, kernels::BestStepCode());
    ExpectListsAreComplete(spec, bed, 60, 101);
    EXPECT_GT(bed.rebuilds().count, 20);
    EXPECT_LT(bed.rebuilds().count, 3000);
  }
}

TEST(PartnerLists, HoldAllPartnersInAThinBed) {
  const RunSpec spec = DrivenSpec(100, 0.02);
  Bed bed(spec, kernels::BestStepCode());
  ExpectListsAreComplete(spec, bed, 20, 101);
}

// More partners within reach than the initial list capacity.
TEST(PartnerLists, HoldAllPartnersOfACrowdedBead) {
  RunSpec spec = DrivenSpec(400, 0.7);
  spec.health.closest_pair = 0;
  auto start = kernels::GenerateInitialState(spec);
  for (int i = 0; i < 60; ++i) {
    start.x[i] = kernels::ToFixed(0.99 + 0.3 * (i % 8) / spec.side_x);
    start.y[i] = kernels::ToFixed(0.99 + 0.3 * (i / 8) / spec.side_y);
  }
  spec.time_step = 1e-9;
  Bed bed(spec, kernels::BestStepCode());
  bed.SetPositions(start.x, start.y);
  ExpectListsAreComplete(spec, bed, 1, 1);
}

TEST(Samples, HoldTheClosestPairAndTheClustersOfTheirStep) {
  RunSpec spec = DrivenSpec(300, 0.7);
  spec.dynamics.step = kernels::DynamicsSpec::Step::kFirstOrder;  // its moves are along the motion
  spec.measure.interval_steps = 500;
  Bed bed(spec, kernels::BestStepCode());
  for (int round = 0; round < 5; ++round) {
    const auto beads = bed.Beads();
    const auto sample = bed.Advance(1).samples.at(0);
    ASSERT_EQ(sample.step, 500 * round);
    double closest = std::numeric_limits<double>::infinity();
    std::vector<std::uint32_t> x, y;
    for (std::uint32_t i = 0; i < beads.size(); ++i) {
      for (std::uint32_t j = 0; j < i; ++j) closest = std::min(closest, Distance(spec, beads[i], beads[j]));
      if (!beads[i].spinner) continue;
      x.push_back(kernels::ToFixed(beads[i].x / spec.side_x + 0x1p-34));  // rounded back to the original quantum
      y.push_back(kernels::ToFixed(beads[i].y / spec.side_y + 0x1p-34));
    }
    const std::size_t n = sample.values.size();
    EXPECT_NEAR(sample.values[n - 3], closest, 1e-6);
    kernels::ClusterFinder finder;
    std::vector<double> clusters;
    AppendTo(kernels::Summarize(finder.Find(x, y, spec.side_x, spec.side_y, 1.25)), clusters);
    for (std::size_t c = 0; c < clusters.size(); ++c) {
      EXPECT_TRUE(clusters[c] == sample.values[c] || std::isnan(clusters[c])) << c;
    }
    double largest = 0;
    for (const auto& bead : bed.Beads()) largest = std::max(largest, std::hypot(bead.vx, bead.vy) * spec.time_step);
    EXPECT_NEAR(sample.values[n - 2], largest, 1e-5 * largest);
    bed.Advance(499);
  }
}

TEST(Paths, AddUpTheMovesAndDifferFromPositionsByWholeSides) {
  RunSpec spec = DrivenSpec(93, 0.6);
  spec.dynamics.step = kernels::DynamicsSpec::Step::kFirstOrder;  // its moves are along the motion
  spec.drive.wave.amplitude = 60;
  spec.temperature = 0.2;
  Bed bed(spec, kernels::BestStepCode());
  const auto start = bed.Beads();
  std::vector<double> x(93), y(93);
  const int steps = 2000;
  for (int step = 0; step < steps; ++step) {
    ASSERT_EQ(bed.Advance(1).verdict, kernels::Verdict::kRunning);
    const auto beads = bed.Beads();
    for (std::size_t i = 0; i < beads.size(); ++i) {
      x[i] += beads[i].vx * spec.time_step;
      y[i] += beads[i].vy * spec.time_step;
    }
  }
  int wrapped = 0;
  const auto end = bed.Beads();
  for (std::size_t i = 0; i < end.size(); ++i) {
    EXPECT_NEAR(end[i].unwrapped_x - start[i].x, x[i], 1e-5);
    EXPECT_NEAR(end[i].unwrapped_y - start[i].y, y[i], 1e-5);
    EXPECT_NEAR(std::remainder(end[i].unwrapped_x - end[i].x, spec.side_x), 0, 1e-8);
    EXPECT_NEAR(std::remainder(end[i].unwrapped_y - end[i].y, spec.side_y), 0, 1e-8);
    wrapped += std::abs(end[i].unwrapped_x - end[i].x) > 1 || std::abs(end[i].unwrapped_y - end[i].y) > 1;
  }
  EXPECT_GT(wrapped, 0);
}

}  // namespace
}  // namespace gyrebox
