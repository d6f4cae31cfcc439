// Common knowledge of users who run such beds. Each fact marked "common practice" is tested on independent
// realizations; it counts as significant where Welch's t between two sets of realizations exceeds 3.
#include <cmath>

#include "equilibrium.h"
#include "unit/test_device.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::RunSpec;
using kernels::WaveSpec;

constexpr double kSignificance = 3;

RunSpec Film(double amplitude, double frequency, double duration) {
  RunSpec spec;
  spec.n_beads = 1024;
  spec.n_spinners = 307;
  const kernels::Sides sides = kernels::FitSides(spec.start.arrangement, spec.n_beads, 0.70, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.temperature = 0.002;
  spec.n_steps = std::llround(duration / spec.time_step);
  const auto shape = frequency > 0 ? WaveSpec::Shape::kSine : WaveSpec::Shape::kSteady;
  spec.drive = {DriveSpec::Quantity::kRate, {.shape = shape, .amplitude = amplitude, .frequency = frequency}, {}};
  spec.measure.structure_every = 1 << 20;
  return spec;
}

// Weight-average domain size over the last tenth of each run.
std::vector<double> LastSizes(const std::vector<RunSpec>& specs) {
  const auto device = TestDevice(0);
  const auto ensemble = device->NewEnsemble(specs);
  const auto chunks = ensemble->Advance(std::int64_t{1} << 40);
  const std::size_t at = ValueAt(ensemble->columns(0), "spinner_weight_average_size");
  std::vector<double> sizes;
  for (std::size_t run = 0; run < specs.size(); ++run) {
    EXPECT_EQ(chunks[run].verdict, kernels::Verdict::kFinished);
    sizes.push_back(MeanFrom(chunks[run], 0.9 * static_cast<double>(specs[run].n_steps), at));
  }
  return sizes;
}

std::vector<RunSpec> Starts(RunSpec spec, int n, std::uint64_t first = 1) {
  std::vector<RunSpec> specs;
  for (int k = 0; k < n; ++k) {
    spec.seeds.positions = first + static_cast<std::uint64_t>(k);
    specs.push_back(spec);
  }
  return specs;
}

// Common practice holds that the seed of the noise matters less than the initial positions. Not shown here: 48 starts
// of either kind, at amplitude 28 and 40 tau, had variances as 1 to 1.45, where F with 47 and 47 degrees of freedom
// exceeds 1.99 once in 100 times for equal ones (computed with Boost.Math); 16 starts had shown nothing reliable. What
// can be said: the spread by positions is less than twice that by noise alone, at a level of 1 %.
TEST(TradeFacts, InitialPositionsSpreadSizesByLessThanTwiceAsMuchAsNoise) {
  constexpr int kSeeds = 48;
  constexpr std::uint64_t kFirstSeed = 101;
  constexpr double kLevel = 1.99;
  std::vector<RunSpec> noises;
  for (std::uint64_t seed = 0; seed < kSeeds; ++seed) {
    noises.push_back(Film(28, 1, 40));
    noises.back().seeds.noise = kFirstSeed + seed;
  }
  const Mean by_noise = MeanOf(LastSizes(noises));
  const Mean by_positions = MeanOf(LastSizes(Starts(Film(28, 1, 40), kSeeds, kFirstSeed)));
  const double ratio = std::pow(by_positions.error / by_noise.error, 2);
  std::printf("  spread by noise %.3g, by positions %.3g, variances as 1 to %.3g\n", by_noise.error * std::sqrt(kSeeds),
              by_positions.error * std::sqrt(kSeeds), ratio);
  EXPECT_LT(ratio, 4 / kLevel);
  EXPECT_GT(by_noise.error, 0);
}

// Common practice.
TEST(TradeFacts, OscillationLeavesFiniteDomainsWhereASteadyDriveMakesOne) {
  const auto steady = LastSizes(Starts(Film(24, 0, 300), 4)), swinging = LastSizes(Starts(Film(24, 2, 300), 4));
  EXPECT_GT(WelchT(steady, swinging), kSignificance);
  EXPECT_GT(MeanOf(steady).value, 0.5 * 307);
  EXPECT_LT(MeanOf(swinging).value, 0.2 * 307);
}

// Common practice.
TEST(TradeFacts, MoreAmplitudeIsNeededAsFrequencyRises) {
  const auto slow = LastSizes(Starts(Film(18, 0.5, 50), 5)), fast = LastSizes(Starts(Film(18, 2, 50), 5));
  EXPECT_GT(WelchT(slow, fast), kSignificance);
  const auto fast_strong = LastSizes(Starts(Film(36, 2, 50), 5));
  EXPECT_GT(WelchT(fast_strong, fast), kSignificance);
}

// Common practice: the same last stage after a weak and after a strong middle stage.
TEST(TradeFacts, AStrongerMiddleStageLeavesAnImprint) {
  const auto after = [](double middle) {
    RunSpec spec = Film(14, 1, 120);
    const std::int64_t third = spec.n_steps / 3;
    spec.adjustments = {{third, 0, {}, {{kernels::Parameter::kAmplitude, middle, false}}},
                        {2 * third, 0, {}, {{kernels::Parameter::kAmplitude, 20, false}}}};
    return LastSizes(Starts(spec, 5));
  };
  EXPECT_GT(WelchT(after(40), after(14)), kSignificance);
}

}  // namespace
}  // namespace gyrebox
