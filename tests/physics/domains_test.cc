// Spinner domains under an oscillating drive: a dense bed at f = 1, 120 tau, four starts. That a slow drive gathers
// nothing, a strong one gathers finite domains, and that these are no artefact of the time step, is common practice to
// check; the bounds are of separate computations with wide margins.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <numeric>

#include "gyrebox/device.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::WaveSpec;
using kernels::RunSpec;

RunSpec DrivenBed(double amplitude, double time_step, std::uint64_t seed) {
  RunSpec spec;
  spec.n_beads = 1536;
  spec.n_spinners = 461;
  const kernels::Sides sides = kernels::FitSides(spec.start.places, spec.n_beads, 0.70, 1);
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

// Mean weight-average size over the last half of each run, one a start.
std::vector<double> Plateaus(double amplitude, double time_step = 5e-4) {
  std::vector<RunSpec> specs;
  for (const std::uint64_t seed : {1, 2, 3, 4}) specs.push_back(DrivenBed(amplitude, time_step, seed));
  const auto device = kernels::OpenDevice("cpu").device;
  const auto ensemble = device->NewEnsemble(specs);
  const auto& columns = ensemble->columns(0);
  EXPECT_EQ(columns[1].name, "spinner_weight_average_size");
  std::vector<double> plateaus;
  for (const auto& run : ensemble->Advance(specs[0].n_steps)) {
    EXPECT_EQ(run.verdict, kernels::Verdict::kFinished);
    double sum = 0;
    int count = 0;
    for (const auto& sample : run.samples) {
      if (sample.time < 60) continue;
      sum += sample.values[1];
      ++count;
    }
    plateaus.push_back(sum / count);
  }
  std::printf("amplitude %g, step %g: %s\n", amplitude, time_step, testing::PrintToString(plateaus).c_str());
  return plateaus;
}

double Mean(const std::vector<double>& values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}
double Range(const std::vector<double>& values) {
  const auto [low, high] = std::minmax_element(values.begin(), values.end());
  return *high - *low;
}

TEST(Domains, DoNotFormUnderAWeakDrive) {
  const double undriven = Mean(Plateaus(0)), weak = Mean(Plateaus(8));
  EXPECT_NEAR(weak, undriven, 0.2 * undriven);
}

TEST(Domains, FormUnderAStrongDrive) {
  const double undriven = Mean(Plateaus(0)), strong = Mean(Plateaus(32));
  EXPECT_GT(strong, 4 * undriven);
  EXPECT_LT(strong, 461 * 0.9);  // finite: not one domain of all spinners
}

TEST(Domains, HaveTheSameSizeWithHalfTheTimeStep) {
  const auto whole = Plateaus(28), half = Plateaus(28, 2.5e-4);
  EXPECT_NEAR(Mean(whole), Mean(half), std::max(Range(whole), Range(half)));
}

}  // namespace
}  // namespace gyrebox
