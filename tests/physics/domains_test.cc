// Spinner domains under an oscillating drive: a dense bed at f = 1, 120 tau, four realizations. Common practice checks
// that a weak drive gathers nothing, that a strong drive gathers finite domains, and that domains are no artefact of
// the time step. The bounds come from separate computations, with wide margins.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numeric>
#include <random>

#include "gyrebox/device.h"
#include "measure/clusters/clusters.h"
#include "model/fixed_point.h"
#include "unit/runs.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::RunSpec;
using kernels::WaveSpec;

RunSpec DrivenBed(double amplitude, double time_step, std::uint64_t seed) {
  RunSpec spec;
  spec.n_beads = 1536;
  spec.n_spinners = 461;
  const kernels::Sides sides = kernels::FitSides(spec.start.arrangement, spec.n_beads, 0.70, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = 0.002;
  spec.time_step = time_step;
  spec.n_steps = static_cast<std::int64_t>(120 / time_step + 0.5);
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, amplitude, 1}, {}};
  spec.measure.interval_steps = static_cast<std::int64_t>(0.125 / time_step + 0.5);
  spec.seeds = {seed, seed + 100, 1};
  return spec;
}

struct Plateaus {
  std::vector<double> sizes;    // mean weight-average size over the last half of each run, one per realization
  std::vector<double> numbers;  // the same for the number-average size
  double scattered = 0;         // weight-average size at the end with shuffled bead labels
};

// Weight-average size with random labels on the final bead positions.
double ScatteredSize(const RunSpec& spec, const std::vector<kernels::Bead>& beads) {
  constexpr int kShuffles = 100;
  std::mt19937 random(1);
  kernels::ClusterFinder finder;
  std::vector<std::size_t> order(beads.size());
  std::iota(order.begin(), order.end(), 0u);
  double sum = 0;
  for (int k = 0; k < kShuffles; ++k) {
    std::shuffle(order.begin(), order.end(), random);
    std::vector<std::uint32_t> x, y;
    for (std::int64_t i = 0; i < spec.n_spinners; ++i) {
      x.push_back(kernels::ToFixed(beads[order[i]].x / spec.side_x));
      y.push_back(kernels::ToFixed(beads[order[i]].y / spec.side_y));
    }
    const auto clusters = finder.Find(x, y, spec.side_x, spec.side_y, spec.measure.bond_length);
    sum += kernels::Summarize(clusters).weight_average_size;
  }
  return sum / kShuffles;
}

double PlateauOf(const kernels::RunChunk& run, std::size_t value) {
  double sum = 0;
  int count = 0;
  for (const auto& sample : run.samples) {
    if (sample.time < 60) continue;
    sum += sample.values[value];
    ++count;
  }
  return sum / count;
}

Plateaus PlateausAt(double amplitude, double time_step = 5e-4, int starts = 4) {
  std::vector<RunSpec> specs;
  for (int seed = 1; seed <= starts; ++seed) {
    specs.push_back(DrivenBed(amplitude, time_step, static_cast<std::uint64_t>(seed)));
  }
  const auto device = TestDevice(0);
  const auto ensemble = device->NewEnsemble(specs);
  const std::size_t value = ValueAt(ensemble->columns(0), "spinner_weight_average_size");
  const std::size_t number = ValueAt(ensemble->columns(0), "spinner_number_average_size");
  Plateaus out;
  const auto runs = ensemble->Advance(specs[0].n_steps);
  for (std::size_t i = 0; i < runs.size(); ++i) {
    EXPECT_EQ(runs[i].verdict, kernels::Verdict::kFinished);
    out.sizes.push_back(PlateauOf(runs[i], value));
    out.numbers.push_back(PlateauOf(runs[i], number));
    out.scattered += ScatteredSize(specs[i], ensemble->Beads(i)) / starts;
  }
  std::printf("amplitude %g, step %g: %s, scattered %.3g\n", amplitude, time_step,
              testing::PrintToString(out.sizes).c_str(), out.scattered);
  return out;
}

double Mean(const std::vector<double>& values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

// The size of scattered spinners depends on the order of the bed, so each bed is compared with its own shuffled labels.
// Domains count as gathered above 1.5 times that size; four realizations give a mean to about 10 %.
TEST(Domains, FormUnderAStrongDriveOnly) {
  const Plateaus undriven = PlateausAt(0), weak = PlateausAt(8), strong = PlateausAt(32);
  for (const Plateaus& scattered : {undriven, weak}) {
    EXPECT_LT(Mean(scattered.sizes), 1.5 * scattered.scattered);
    EXPECT_GT(Mean(scattered.sizes), scattered.scattered / 1.5);
  }
  EXPECT_NEAR(Mean(weak.sizes), Mean(undriven.sizes), 0.2 * Mean(undriven.sizes));
  EXPECT_GT(Mean(strong.sizes), 4 * Mean(undriven.sizes));
  EXPECT_LT(Mean(strong.sizes), 0.5 * 461);  // finite: far from one domain of all spinners
}

// A separate program, written from the equations alone, gives such a bed a size of 61 with a standard deviation of 13
// between realizations, and a number-average size of 27.1 with 3.3. The bounds are three standard errors of a
// difference of means.
TEST(Domains, HaveTheSameSizeWithHalfTheTimeStep) {
  constexpr int kStarts = 8;
  const double errors = 3 * std::sqrt(2.0 / kStarts);
  const Plateaus whole = PlateausAt(28, 5e-4, kStarts), half = PlateausAt(28, 2.5e-4, kStarts);
  EXPECT_NEAR(Mean(whole.sizes), Mean(half.sizes), errors * 13);
  EXPECT_NEAR(Mean(whole.numbers), Mean(half.numbers), errors * 3.3);
}

}  // namespace
}  // namespace gyrebox
