// A device against the CPU: the same forces, the same distributions of observables, and bits that do not depend on
// other runs in the ensemble.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <random>

#include "beds.h"
#include "beside_cpu.h"
#include "gyrebox/bed_state.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::RunSpec;
using kernels::StartSpec;
using kernels::Verdict;
using kernels::WaveSpec;

// Beds with this many beads do not fit the shared memory of one multiprocessor; see kResidentBeads.
constexpr std::int64_t kStreamed = 4001;

// Fraction of the largest motion. With sides of 40 000 sigma, positions have a resolution of 1e-5 sigma, and the
// repulsion of touching beads changes by 4e-3 for each such step.
constexpr double kOfLongBeds = 5e-3;

bool OnGpu() {
  const char* name = std::getenv("GYREBOX_TEST_DEVICE");
  return name != nullptr && std::string(name).rfind("cuda", 0) == 0;
}

RunSpec Driven(std::int64_t n_beads, std::int64_t n_steps) {
  RunSpec spec = DenseSpec(n_beads);
  spec.n_steps = n_steps;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 40;
  spec.measure.structure_every = 3;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 30, 2}, {}};
  return spec;
}

// Explicit positions.
RunSpec Given(RunSpec spec, const std::vector<double>& x, const std::vector<double>& y) {
  spec.start.arrangement = StartSpec::Arrangement::kGiven;
  spec.start.given_x = x;
  spec.start.given_y = y;
  spec.start.given_spinner.assign(x.size(), 0);
  for (std::int64_t i = 0; i < spec.n_spinners; ++i) spec.start.given_spinner[static_cast<std::size_t>(i)] = 1;
  return spec;
}

void ExpectFinished(const Outcome& outcome) {
  EXPECT_EQ(outcome.last.verdict, Verdict::kFinished)
      << (outcome.last.fault ? outcome.last.fault->message : std::string("no fault"));
}

TEST(DeviceForces, AreThoseOfTheCpu) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  for (const std::int64_t n : {std::int64_t{700}, kStreamed}) {
    for (const auto equation :
         {DynamicsSpec::Equation::kLagged, DynamicsSpec::Equation::kConverged, DynamicsSpec::Equation::kBrownian}) {
      for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
        RunSpec spec = Driven(n, 3);
        spec.dynamics.equation = equation;
        spec.dynamics.tolerance = 1e-6;
        spec.drive.quantity = quantity;
        spec.drive.wave.shape = WaveSpec::Shape::kSteady;
        const auto expected = Outcomes(*cpu, {spec}, 3)[0].beads, found = Outcomes(*device, {spec}, 3)[0].beads;
        double scale = 0, worst = 0;
        for (std::size_t i = 0; i < expected.size(); ++i) {
          scale = std::max({scale, std::abs(expected[i].vx), std::abs(expected[i].vy), std::abs(expected[i].spin)});
          worst = std::max({worst, std::abs(expected[i].vx - found[i].vx), std::abs(expected[i].vy - found[i].vy),
                            std::abs(expected[i].spin - found[i].spin)});
        }
        EXPECT_GT(scale, 1);
        EXPECT_LT(worst, 1e-5 * scale) << n << " beads, equation " << static_cast<int>(equation);
      }
    }
  }
}

using BedOfOrder = std::tuple<std::int64_t, DynamicsSpec::Step>;

TEST(DeviceBits, AreTheSameAloneAndInCompany) {
  const auto device = TestDevice();
  for (const auto& [n, order] : {BedOfOrder{190, DynamicsSpec::Step::kFirstOrder},
                                 {190, DynamicsSpec::Step::kSecondOrder},
                                 {kStreamed, DynamicsSpec::Step::kFirstOrder},
                                 {kStreamed, DynamicsSpec::Step::kSecondOrder}}) {
    RunSpec spec = Driven(n, 120);
    spec.dynamics.step = order;
    const Outcome alone = Outcomes(*device, {spec}, 120)[0];
    ExpectFinished(alone);
    std::vector<RunSpec> many(n < kStreamed && OnGpu() ? 128 : 5, spec);
    for (std::size_t i = 0; i < many.size(); ++i) {
      if (i == 3) continue;
      many[i].seeds.positions = 100 + i;
      many[i].drive.wave.amplitude = 10.0 + static_cast<double>(i);
      many[i].dynamics.step = i % 2 == 0 ? DynamicsSpec::Step::kFirstOrder : DynamicsSpec::Step::kSecondOrder;
      many[i].n_steps = 60 + static_cast<std::int64_t>(i);
      many[i].measure.interval_steps = 17 + static_cast<std::int64_t>(i % 7);
    }
    const auto outcomes = Outcomes(*device, many, 50);
    ASSERT_NO_FATAL_FAILURE(ExpectSameBits(outcomes[3], alone)) << n << " beads";
    ASSERT_NO_FATAL_FAILURE(ExpectSameBits(Outcomes(*device, {spec}, 7)[0], alone)) << n << " beads";
  }
}

TEST(DeviceBits, OfALargeBedGoOnFromASavedState) {
  const auto device = TestDevice();
  const RunSpec spec = Driven(kStreamed, 240);
  const Outcome whole = Outcomes(*device, {spec}, 240)[0];
  for (const std::int64_t cut : {0, 1, 40, 101, 239, 240}) {
    const auto first = device->NewEnsemble(std::vector{spec});
    first->Advance(cut);
    const auto bytes = kernels::ToBytes(first->Save(0));
    const auto second = device->NewEnsemble(std::vector{spec});
    second->Load(0, kernels::FromBytes(bytes));
    const auto rest = second->Advance(spec.n_steps)[0];
    ASSERT_EQ(rest.verdict, Verdict::kFinished);
    ASSERT_NO_FATAL_FAILURE(ExpectSamePositions(second->Beads(0), whole.beads)) << "cut at step " << cut;
    for (std::size_t c = 0; c < whole.samples.back().values.size(); ++c) {
      ASSERT_TRUE(SameBits(rest.samples.back().values[c], whole.samples.back().values[c])) << c;
    }
  }
}

TEST(DeviceBits, AnUnstableRunLeavesTheOthersAlone) {
  const auto device = TestDevice();
  const RunSpec sound = Driven(200, 200);
  RunSpec wild = sound;
  wild.seeds.positions = 7;
  wild.drive.wave.amplitude = 4000;
  const auto together = Outcomes(*device, {wild, sound, wild}, 60);
  EXPECT_EQ(together[0].last.verdict, Verdict::kUnstable);
  ASSERT_TRUE(together[0].last.fault.has_value());
  EXPECT_EQ(together[0].last.fault->step, together[2].last.fault->step);
  ASSERT_NO_FATAL_FAILURE(ExpectSameBits(together[1], Outcomes(*device, {sound}, 200)[0]));
}

TEST(DeviceSizes, OfAnyNumberOfBeads) {
  const auto device = TestDevice();
  std::vector<RunSpec> specs;
  for (const std::int64_t n : {1, 2, 31, 32, 33, 127, 769, 3072, 3073}) {
    RunSpec spec = Driven(n, 60);
    spec.side_x = std::max(spec.side_x, 4.0);
    spec.side_y = std::max(spec.side_y, 4.0);
    specs.push_back(spec);
  }
  ExpectOutcomesOfTheCpu(*device, specs, 45);
}

TEST(DeviceSizes, AThousandBedsOfDifferentLength) {
  const auto device = TestDevice();
  std::vector<RunSpec> specs;
  for (int i = 0; i < (OnGpu() ? 1000 : 100); ++i) {
    RunSpec spec = Driven(40 + i % 50, 5 + i % 97);
    spec.seeds.positions = static_cast<std::uint64_t>(i) + 1;
    specs.push_back(spec);
  }
  ExpectOutcomesOfTheCpu(*device, specs, 30);
}

// All beads in one cell: far more partners than the initial list capacity.
TEST(DeviceCrowds, OfSoftBeadsInOneCell) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  std::vector<std::int64_t> sizes = {500};
  if (OnGpu()) sizes.push_back(kStreamed);  // too many pairs for one thread
  for (const std::int64_t n : sizes) {
    RunSpec spec = Driven(n, 20);
    spec.force = {kernels::ForceSpec::Law::kSoft, 0.01, 0.05, 1};
    spec.health.closest_pair = 0;
    spec.health.largest_move = 0.15;
    spec.temperature = 0;
    spec.drive.wave.amplitude = 0.1;
    spec.side_x = spec.side_y = 6;
    std::mt19937_64 random(5);
    std::uniform_real_distribution<double> position(2, 4);
    std::vector<double> x, y;
    for (std::int64_t i = 0; i < n; ++i) x.push_back(position(random)), y.push_back(position(random));
    const RunSpec given = Given(spec, x, y);
    const auto found = Outcomes(*device, {given}, 20)[0], expected = Outcomes(*cpu, {given}, 20)[0];
    ExpectFinished(found);
    for (std::size_t i = 0; i < found.beads.size(); ++i) {
      ASSERT_NEAR(found.beads[i].x, expected.beads[i].x, 1e-3) << i;
    }
  }
}

TEST(DeviceCrowds, BesideAnEmptyHalf) {
  const auto device = TestDevice();
  RunSpec spec = Driven(kStreamed, 60);
  const auto start = kernels::GenerateInitialState(spec);
  std::vector<double> x, y;
  for (std::size_t i = 0; i < start.x.size(); ++i) {
    x.push_back(kernels::FromFixed(start.x[i], spec.side_x));
    y.push_back(kernels::FromFixed(start.y[i], spec.side_y));
  }
  spec.side_x *= 2;
  ExpectOutcomesOfTheCpu(*device, {Given(spec, x, y)});
}

TEST(DeviceCrowds, InAThinBed) {
  const auto device = TestDevice();
  RunSpec spec = Driven(OnGpu() ? 1000000 : 10000, 40);
  spec.side_x = 40;
  spec.side_y = static_cast<double>(spec.n_beads) * 28000 / 1e6;
  spec.start.arrangement = StartSpec::Arrangement::kGiven;
  // Rows of 35 along the short side: a square lattice with spacing 8/7 sigma, stretched along the length.
  std::vector<double> x, y;
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    x.push_back((static_cast<double>(i % 35) + 0.5) * 40 / 35);
    y.push_back((static_cast<double>(i / 35) + 0.5) * spec.side_y / std::ceil(static_cast<double>(spec.n_beads) / 35));
  }
  ExpectOutcomesOfTheCpu(*device, {Given(spec, x, y)}, 40, kOfLongBeds);
}

// Two lattice columns of beads in an otherwise empty bed, so long that a 16-bit memory offset cannot reach a partner in
// the other column. The number of beads alone does not predict this.
TEST(DeviceCrowds, InTwoLongColumnsOfATallBed) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  RunSpec spec = Driven(80000, 2);
  spec.side_x = 60;
  spec.side_y = 42000;
  std::vector<double> x, y;
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    x.push_back(i % 2 == 0 ? 6.4 : 7.5);  // in two strips of the grid
    y.push_back((static_cast<double>(i / 2) + 0.5) * 1.05);
  }
  const RunSpec given = Given(spec, x, y);
  const auto found = Outcomes(*device, {given}, 2)[0], expected = Outcomes(*cpu, {given}, 2)[0];
  ExpectFinished(found);
  for (std::size_t i = 0; i < found.beads.size(); ++i) {
    ASSERT_NEAR(found.beads[i].vx, expected.beads[i].vx, 1e-3) << i;  // forces of 10, balanced to 1e-5
    ASSERT_NEAR(found.beads[i].vy, expected.beads[i].vy, 1e-3) << i;
  }
}

// A single row of cells.
TEST(DeviceCrowds, InAFlatBed) {
  const auto device = TestDevice();
  RunSpec spec = Driven(140000, 5);
  spec.side_x = 40000;
  spec.side_y = 4;
  std::vector<double> x, y;
  for (std::int64_t i = 0; i < spec.n_beads; ++i) {
    x.push_back((static_cast<double>(i / 4) + 0.5) * spec.side_x / 35000);
    y.push_back((static_cast<double>(i % 4) + 0.5));
  }
  ExpectOutcomesOfTheCpu(*device, {Given(spec, x, y)}, 5, kOfLongBeds);
}

// The two sides use different seeds, so distributions are compared: Welch's t of two sets of 16 runs, which exceeds 4.5
// by chance once in 10 000 times (30 degrees of freedom).
TEST(DeviceObservables, HaveTheDistributionOfTheCpu) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  const auto set = [](std::uint64_t first_seed) {
    std::vector<RunSpec> specs;
    for (std::uint64_t i = 0; i < 16; ++i) {
      RunSpec spec = Driven(240, 4000);
      spec.measure.interval_steps = 4000;
      spec.seeds = {first_seed + i, first_seed + i, first_seed + i};
      specs.push_back(spec);
    }
    return specs;
  };
  const auto on_device = Outcomes(*device, set(1), 4000), on_cpu = Outcomes(*cpu, set(101), 4000);
  const std::size_t columns = on_cpu[0].samples.back().values.size();
  const auto moments = [](const std::vector<Outcome>& runs, std::size_t c) {
    double mean = 0, square = 0;
    for (const Outcome& run : runs) mean += run.samples.back().values[c] / 16;
    for (const Outcome& run : runs) square += std::pow(run.samples.back().values[c] - mean, 2) / 15;
    return std::pair(mean, square / 16);
  };
  int compared = 0;
  for (std::size_t c = 0; c < columns; ++c) {
    const auto [mean_a, variance_a] = moments(on_device, c);
    const auto [mean_b, variance_b] = moments(on_cpu, c);
    if (!std::isfinite(mean_a + mean_b) || variance_a + variance_b == 0) continue;
    // Rare events, such as counts that are mostly 0, are too far from normal for a t test.
    const auto zeros = [&](const std::vector<Outcome>& runs) {
      return std::count_if(runs.begin(), runs.end(),
                           [&](const Outcome& run) { return run.samples.back().values[c] == 0; });
    };
    if (zeros(on_device) + zeros(on_cpu) > 4) continue;
    ++compared;
    EXPECT_LT(std::abs(mean_a - mean_b) / std::sqrt(variance_a + variance_b), 5.5) << "value " << c;
  }
  EXPECT_GT(compared, 300);
}

}  // namespace
}  // namespace gyrebox
