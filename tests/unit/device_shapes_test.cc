// Beds of every shape and force law on a device: sparse beds, whose cells take much of the shared memory of a resident
// bed, and mixed ensembles.
#include <gtest/gtest.h>

#include <cmath>

#include "beds.h"
#include "beside_cpu.h"
#include "cuda/cuda_device.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::ForceSpec;
using kernels::RunSpec;
using kernels::WaveSpec;

RunSpec Driven(std::int64_t n_beads, double packing_fraction, std::int64_t n_steps) {
  RunSpec spec = DenseSpec(n_beads, packing_fraction);
  spec.n_steps = n_steps;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 20;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 30, 2}, {}};
  return spec;
}

TEST(DeviceShapes, ASparseBedOf3000Beads) {
  const auto device = TestDevice();
  for (const double packing_fraction : {0.20, 0.05}) {
    ExpectOutcomesOfTheCpu(*device, {Driven(3000, packing_fraction, 40)});
    ExpectOutcomesOfTheCpu(*device, {Driven(3072, packing_fraction, 40)});
  }
}

// One bed has the most beads, another the most cells.
TEST(DeviceShapes, OfBedsOfMixedShapesInOneEnsemble) {
  const auto device = TestDevice();
  std::vector<RunSpec> specs = {Driven(3072, 0.70, 40), Driven(2600, 0.05, 40), Driven(3000, 0.20, 30),
                                Driven(40, 0.60, 37),   Driven(3073, 0.30, 25), Driven(1536, 0.70, 40)};
  RunSpec thin = Driven(900, 0.30, 40);
  thin.side_x *= 10;
  thin.side_y /= 10;
  specs.push_back(thin);
  specs.push_back(Driven(2900, 0.10, 40));
  specs.back().dynamics.equation = DynamicsSpec::Equation::kBrownian;
  ExpectOutcomesOfTheCpu(*device, specs, 13);
}

// Teams of many blocks, not a power of two.
TEST(DeviceShapes, ALargeConvergedBed) {
  const auto device = TestDevice();
  RunSpec spec = Driven(20011, 0.70, 5);
  spec.dynamics.equation = DynamicsSpec::Equation::kConverged;
  spec.dynamics.tolerance = 1e-5;
  ExpectOutcomesOfTheCpu(*device, {spec});
}

// Against the reference, in double precision over all pairs.
TEST(DeviceLaws, AreThoseOfTheReference) {
  const auto device = TestDevice();
  const std::vector<ForceSpec> forces = {{.law = ForceSpec::Law::kExponential},
                                         {.law = ForceSpec::Law::kSoft, .strength = 200, .cutoff = 1.1},
                                         {.law = ForceSpec::Law::kWca, .strength = 0.5, .cutoff = std::pow(2, 1.0 / 6)},
                                         {.law = ForceSpec::Law::kHarmonic, .strength = 300, .cutoff = 1.05},
                                         {.law = ForceSpec::Law::kYukawa, .strength = 2, .decay_length = 0.2}};
  constexpr int kSteps = 3;
  for (const ForceSpec& force : forces) {
    for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
      for (const double temperature : {0.0, 0.01}) {
        RunSpec spec = Driven(100, 0.6, kSteps);
        spec.force = force;
        spec.temperature = temperature;
        spec.drive.quantity = quantity;
        spec.friction = {.tangential = 3, .normal = 2, .cutoff = 1.4, .exponent = temperature > 0 ? 2 : 1};
        spec.start.closest_pair = 0.95;
        auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
        reference::Motions motions(spec.n_beads);
        for (int step = 0; step < kSteps; ++step) {
          reference::TakeStep(spec, reference::Method::kLagged, step, beads, motions);
        }
        const auto found = Outcomes(*device, {spec}, kSteps)[0];
        const Eigen::VectorXd motion = motions.last + motions.thermal;
        double speed = 0, spin = 0;
        for (Eigen::Index row = 0; row < motion.size(); ++row) {
          (row % 3 == 2 ? spin : speed) = std::max(row % 3 == 2 ? spin : speed, std::abs(motion(row)));
        }
        // The closing sample measures the beads after the last step and keeps the motion of that step.
        for (std::size_t i = 0; i < beads.size(); ++i) {
          const auto row = static_cast<Eigen::Index>(3 * i);
          SCOPED_TRACE(testing::Message()
                       << "law " << static_cast<int>(force.law) << ", temperature " << temperature << ", bead " << i);
          ASSERT_NEAR(std::remainder(found.beads[i].x - beads[i].x, spec.side_x), 0, 2e-6);
          ASSERT_NEAR(std::remainder(found.beads[i].y - beads[i].y, spec.side_y), 0, 2e-6);
          ASSERT_NEAR(found.beads[i].vx, motion(row), 5e-5 * speed);
          ASSERT_NEAR(found.beads[i].vy, motion(row + 1), 5e-5 * speed);
          ASSERT_NEAR(found.beads[i].spin, motion(row + 2), 5e-5 * spin);
        }
      }
    }
  }
}

// Lists have the same reach on every device and contain bonds longer than the cut-offs.
TEST(DeviceReach, IsThatOfTheCpu) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  for (const auto& [distance, seen] : {std::pair{1.95, true}, std::pair{2.05, false}}) {
    RunSpec spec;
    spec.n_beads = 2;
    spec.side_x = spec.side_y = 20;
    spec.measure.bond_length = 1.6;
    spec.start.arrangement = kernels::StartSpec::Arrangement::kGiven;
    spec.start.given_x = {3, 3 + distance};
    spec.start.given_y = {3, 3};
    spec.start.given_spinner = {0, 0};
    for (kernels::Device* one : {device.get(), cpu.get()}) {
      const auto at = ValueAt(one->NewEnsemble(std::vector{spec})->columns(0), "closest_pair");
      const double closest = Outcomes(*one, {spec}, 1)[0].samples.at(0).values[at];
      EXPECT_EQ(std::isfinite(closest), seen) << one->name() << ", distance " << distance;
      if (seen) {
        EXPECT_NEAR(closest, distance, 1e-5) << one->name();
      }
    }
  }
}

TEST(DeviceLaunch, ThatIsRefusedLeavesTheDeviceUnchanged) {
  const auto driver = TestDriver();
  EXPECT_GT(driver->resident_bytes(), 90000u);  // 99 KiB on compute capability 8.6, minus what kernels need
  kernels::cuda::Launch launch;
  launch.n_batches = 1;
  launch.resident = true;
  launch.max_beads = 32;
  launch.shared_bytes = driver->resident_bytes() + 1024;
  EXPECT_THROW(driver->Run(launch), kernels::cuda::LaunchRefused);
  const auto device = kernels::cuda::NewDevice(driver, 0);
  ExpectOutcomesOfTheCpu(*device, {Driven(100, 0.7, 20)});
}

}  // namespace
}  // namespace gyrebox
