// The engine, in single precision with partner lists, against the reference, in double precision over all pairs.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "beds.h"
#include "cpu/bed.h"

namespace gyrebox {
namespace {

using kernels::Bed;
using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::RunSpec;
using kernels::WaveSpec;

constexpr double kSingle = 1e-5;  // fraction of the largest motion: float positions and motions through a stiff force

Eigen::VectorXd MotionOf(const Bed& bed) {
  const auto beads = bed.Beads();
  Eigen::VectorXd motion(3 * static_cast<Eigen::Index>(beads.size()));
  for (std::size_t i = 0; i < beads.size(); ++i) {
    motion.segment<3>(3 * static_cast<Eigen::Index>(i)) << beads[i].vx, beads[i].vy, beads[i].spin;
  }
  return motion;
}

// Velocities and spins are each compared relative to their own largest value.
void ExpectSameMotion(const Eigen::VectorXd& engine, const Eigen::VectorXd& truth, double tolerance) {
  ASSERT_EQ(engine.size(), truth.size());
  double largest[3] = {1e-9, 1e-9, 1e-9};
  for (Eigen::Index row = 0; row < truth.size(); ++row) {
    largest[row % 3] = std::max(largest[row % 3], std::abs(truth(row)));
  }
  largest[0] = largest[1] = std::max(largest[0], largest[1]);
  for (Eigen::Index row = 0; row < truth.size(); ++row) {
    ASSERT_NEAR(engine(row), truth(row), tolerance * largest[row % 3]) << "bead " << row / 3 << ", row " << row % 3;
  }
}

// Takes steps with both from the same positions.
void ExpectSameSteps(const RunSpec& spec, const kernels::StartState& start, int steps, double tolerance) {
  const kernels::StepCodes runnable = kernels::RunnableStepCodes();
  for (int c = 0; c < runnable.count; ++c) {
    Bed bed(spec, *runnable.codes[c]);
    bed.SetPositions(start.x, start.y);
    auto beads = BeadsOf(spec, start);
    reference::Motions motions(spec.n_beads);
    for (int step = 0; step < steps; ++step) {
      bed.Advance(1);
      reference::TakeStep(spec, reference::Method::kLagged, step, beads, motions);
      ASSERT_NO_FATAL_FAILURE(ExpectSameMotion(MotionOf(bed), motions.last + motions.thermal, tolerance))
          << "step " << step;
    }
    const auto positions = bed.Beads();
    for (std::size_t i = 0; i < beads.size(); ++i) {
      ASSERT_NEAR(std::remainder(positions[i].x - beads[i].x, spec.side_x), 0, 1e-6);
      ASSERT_NEAR(std::remainder(positions[i].y - beads[i].y, spec.side_y), 0, 1e-6);
    }
  }
}

std::vector<RunSpec> Variants(std::int64_t n_beads) {
  RunSpec base = DenseSpec(n_beads);
  base.n_steps = 1000;
  base.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 20, 1}, {}};
  std::vector<RunSpec> specs(8, base);
  specs[1].temperature = 0.002;
  specs[2].temperature = 0.002;
  specs[2].drive = {DriveSpec::Quantity::kTorque, {WaveSpec::Shape::kSine, 40, 3}, {}};
  specs[3].friction = {.tangential = 3, .normal = 1, .cutoff = 1.45, .exponent = 2};
  specs[3].drag = {.translational = 2, .rotational = 0.7};
  specs[3].temperature = 0.05;
  specs[4].force = {.strength = 12, .decay_length = 0.08, .cutoff = 1.4};
  specs[4].drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSteady, -15, 0}, {}};
  specs[5].n_spinners = 0;
  specs[5].temperature = 0.002;
  for (int first_order : {6, 7}) specs[first_order].dynamics.step = DynamicsSpec::Step::kFirstOrder;
  specs[7].temperature = 0.05;
  return specs;
}

TEST(Engine, TakesTheFirstStepOfTheReference) {
  for (const std::int64_t n : {40, 97, 160}) {
    int variant = 0;
    for (RunSpec spec : Variants(n)) {
      spec.seeds = {static_cast<std::uint64_t>(n), 5, 6};
      SCOPED_TRACE(testing::Message() << n << " beads, variant " << variant++);
      ExpectSameSteps(spec, kernels::GenerateInitialState(spec), 1, kSingle);
    }
  }
}

TEST(Engine, FollowsTheReferenceForTwentySteps) {
  int variant = 0;
  for (const RunSpec& spec : Variants(100)) {
    SCOPED_TRACE(testing::Message() << "variant " << variant++);
    ExpectSameSteps(spec, kernels::GenerateInitialState(spec), 20, 5 * kSingle);
  }
}

// A patch of a triangular lattice with spacing 1, about a centre given as fractions of the sides.
kernels::StartState Patch(const RunSpec& spec, double middle_x, double middle_y) {
  kernels::StartState start = kernels::GenerateInitialState(spec);
  const int columns = static_cast<int>(std::ceil(std::sqrt(static_cast<double>(spec.n_beads))));
  for (int i = 0; i < spec.n_beads; ++i) {
    const int row = i / columns, column = i % columns;
    const double x = column + 0.5 * (row % 2) - 0.5 * columns, y = (row - 0.5 * columns) * std::sqrt(0.75);
    start.x[i] = kernels::ToFixed(middle_x + x / spec.side_x);
    start.y[i] = kernels::ToFixed(middle_y + y / spec.side_y);
  }
  return start;
}

RunSpec SparseSpec(std::int64_t n_beads, double side) {
  RunSpec spec;
  spec.n_beads = n_beads;
  spec.n_spinners = (n_beads + 1) / 2;
  spec.side_x = side;
  spec.side_y = side * 1.1;
  spec.n_steps = 1000;
  spec.start.closest_pair = 0.5;
  spec.temperature = 0.002;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSteady, 20, 0}, {}};
  return spec;
}

TEST(Engine, TakesStepsOfTheReferenceAcrossFacesAndCorners) {
  const RunSpec spec = SparseSpec(30, 17);
  for (const double middle_x : {0.0, 0.1, 0.5, 0.7}) {
    for (const double middle_y : {0.0, 0.5, 0.83}) {
      SCOPED_TRACE(testing::Message() << "about " << middle_x << ", " << middle_y);
      ExpectSameSteps(spec, Patch(spec, middle_x, middle_y), 5, kSingle);
    }
  }
}

TEST(Engine, TakesStepsOfTheReferenceWithBeadsExactlyOnCellFaces) {
  const RunSpec spec = SparseSpec(36, 17);
  const kernels::CellGrid grid(spec.side_x, spec.side_y, kernels::ListReach(spec));
  kernels::StartState start = Patch(spec, 0, 0);
  for (int i = 0; i < 36; ++i) {
    start.x[i] = kernels::ToFixed(static_cast<double>(i % 6) / grid.nx);
    start.y[i] = kernels::ToFixed(static_cast<double>(i / 6) / grid.ny);
  }
  ExpectSameSteps(spec, start, 5, kSingle);
}

TEST(Engine, TakesStepsOfTheReferenceWithAllBeadsInOneCell) {
  RunSpec spec = SparseSpec(4, 30);
  const kernels::CellGrid grid(spec.side_x, spec.side_y, kernels::ListReach(spec));
  const kernels::StartState start = Patch(spec, (4 + 0.6) / grid.nx, (4 + 0.6) / grid.ny);
  for (int i = 1; i < 4; ++i) {
    ASSERT_EQ(grid.CellOf(start.x[i], start.y[i]), grid.CellOf(start.x[0], start.y[0]));
  }
  ExpectSameSteps(spec, start, 5, kSingle);
}

TEST(Engine, TakesStepsOfTheReferenceInTheShortestSides) {
  RunSpec spec = DenseSpec(10);
  spec.side_x = spec.side_y = 2 * kernels::ListReach(spec);
  spec.n_steps = 1000;
  spec.temperature = 0.002;
  spec.drive.wave.amplitude = 10;
  for (const std::uint64_t seed : {1, 2, 3, 4, 5}) {
    spec.seeds.positions = seed;
    ExpectSameSteps(spec, kernels::GenerateInitialState(spec), 5, kSingle);
  }
}

TEST(Engine, TakesStepsOfTheReferenceWithOneTwoAndThreeBeads) {
  for (const std::int64_t n : {1, 2, 3}) {
    const RunSpec spec = SparseSpec(n, 6);
    SCOPED_TRACE(testing::Message() << n << " beads");
    ExpectSameSteps(spec, Patch(spec, 0, 0), 20, kSingle);
  }
}

// With a step so short that no bead moves, repeated sweeps converge to the solution of all rows at once.
TEST(Engine, SweepsConvergeToTheDirectSolution) {
  for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
    RunSpec spec = DenseSpec(120);
    spec.n_steps = 1000;
    spec.time_step = 1e-12;
    spec.drive = {quantity, {WaveSpec::Shape::kSteady, 20, 0}, {}};
    Bed bed(spec, kernels::BestStepCode());
    bed.Advance(200);
    const auto start = kernels::GenerateInitialState(spec);
    const reference::Balance balance(spec, BeadsOf(spec, start), {quantity, 20});
    const Eigen::VectorXd motion = MotionOf(bed);
    ExpectSameMotion(motion, balance.Solve(), kSingle);
    // Exact: forces between beads cancel, so the drag forces sum to zero.
    double x = 0, y = 0, speeds = 0;
    for (Eigen::Index i = 0; i < motion.size(); i += 3) {
      x += motion(i);
      y += motion(i + 1);
      speeds += std::hypot(motion(i), motion(i + 1));
    }
    EXPECT_NEAR(x, 0, 1e-5 * speeds);
    EXPECT_NEAR(y, 0, 1e-5 * speeds);
  }
}

// Residual of the free rows, with imposed spins on the right-hand side: |left| / |right| without noise. For a
// first-order step with noise: the dot product of the noise-free left and right sides over |right| and the noise-free
// |right|. Its error is that of |left|.
struct Residual {
  double value, error;
};
Residual ResidualOf(const reference::Balance& balance, const RunSpec& spec, const std::vector<reference::Bead>& beads,
                    const Eigen::VectorXd& motion) {
  const bool rate = spec.drive.quantity == DriveSpec::Quantity::kRate;
  Eigen::VectorXd known = Eigen::VectorXd::Zero(motion.size());
  for (Eigen::Index row = 2; row < motion.size(); row += 3) {
    if (rate && beads[row / 3].spinner) known(row) = motion(row);
  }
  const Eigen::VectorXd calm = balance.conservative() + balance.torques(), forces = calm + balance.thermal();
  Eigen::VectorXd right = forces - balance.matrix() * known, left = forces - balance.matrix() * motion;
  Eigen::VectorXd calm_right = calm - balance.matrix() * known, calm_left = calm - balance.matrix() * motion;
  for (Eigen::Index row = 2; row < motion.size(); row += 3) {
    if (rate && beads[row / 3].spinner) right(row) = left(row) = calm_right(row) = calm_left(row) = 0;
  }
  const bool parted = spec.dynamics.step == DynamicsSpec::Step::kSecondOrder;
  const double value = calm_left.norm() / calm_right.norm();
  if (parted || spec.temperature == 0) return {value, 1e-4 * value + 1e-6};
  return {std::abs(calm_right.dot(calm_left)) / (calm_right.norm() * right.norm()),
          1e-4 * calm_left.norm() / right.norm() + 1e-6};
}

TEST(Engine, ReportsTheFrictionResidualOfTheReference) {
  int variant = 0;
  for (RunSpec spec : Variants(100)) {
    SCOPED_TRACE(testing::Message() << "variant " << variant++);
    spec.measure.interval_steps = 1;
    const auto start = kernels::GenerateInitialState(spec);
    Bed bed(spec, kernels::BestStepCode());
    auto beads = BeadsOf(spec, start);
    reference::Motions motions(100);
    for (int step = 0; step < 3; ++step) {
      const double reported = bed.Advance(1).samples.at(0).values.back();
      const double ahead = spec.dynamics.step == DynamicsSpec::Step::kFirstOrder ? 0.5 : 0;
      const double drive = reference::DriveAt(spec.drive, (step + ahead) * spec.time_step);
      const reference::Balance balance(spec, beads, {spec.drive.quantity, drive}, step);
      const auto before = beads;
      reference::TakeStep(spec, reference::Method::kLagged, step, beads, motions);
      const Residual expected = ResidualOf(balance, spec, before, motions.last);
      EXPECT_NEAR(reported, expected.value, expected.error);
    }
  }
}

// Exact: with the drive reversed, the mirror image of a bed moves as its mirror image.
TEST(Engine, MirrorImageWithReversedDriveMovesAsTheMirrorImage) {
  RunSpec spec = DenseSpec(150);
  spec.n_steps = 1000;
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 20, 1}, {}};
  RunSpec reversed = spec;
  reversed.drive.wave.amplitude = -20;
  auto mirrored = kernels::GenerateInitialState(spec);
  for (auto& x : mirrored.x) x = 0u - x;
  Bed bed(spec, kernels::BestStepCode()), image(reversed, kernels::BestStepCode());
  image.SetPositions(mirrored.x, mirrored.y);
  bed.Advance(10);
  image.Advance(10);
  Eigen::VectorXd motion = MotionOf(image);
  for (Eigen::Index row = 0; row < motion.size(); ++row) {
    if (row % 3 != 1) motion(row) = -motion(row);
  }
  EXPECT_GT(motion.norm(), 1);
  ExpectSameMotion(motion, MotionOf(bed), kSingle);
}

}  // namespace
}  // namespace gyrebox
