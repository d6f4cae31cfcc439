// The converged solver against dense solutions, in double precision and in the engine.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "beds.h"
#include "cpu/bed.h"
#include "dynamics/course.h"
#include "dynamics/sweeps.h"
#include "gyrebox/device.h"
#include "gyrebox/step_choice.h"
#include "model/force.h"
#include "model/friction.h"
#include "runs.h"

namespace gyrebox {
namespace {

using Eigen::Index;
using Eigen::VectorXd;
using kernels::BalanceRow;
using kernels::Bed;
using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::Motion;
using kernels::RunSpec;
using kernels::WaveSpec;

// The friction system of a bed in double precision, assembled bead by bead over all pairs from the engine's laws; spins
// of spinners are imposed.
class PlainSystem {
 public:
  PlainSystem(const RunSpec& spec, const std::vector<reference::Bead>& beads, double rate)
      : spec_(spec),
        beads_(beads),
        force_(spec.force),
        friction_(spec.friction),
        v_(beads.size()),
        before_(v_),
        made_(v_) {
    for (std::size_t i = 0; i < beads.size(); ++i) v_[i] = {0, 0, beads[i].spinner ? rate : 0};
  }

  const std::vector<Motion<double>>& motion() const { return v_; }

  static constexpr double kRoundOff = 1e-15;
  kernels::FirstSweep Begin() {
    kernels::FirstSweep first;
    for (std::size_t i = 0; i < v_.size(); ++i) {
      const BalanceRow<double> row = Row(i);
      first.moving += (row.axx + row.ayy) / 2 / spec_.drag.translational;
      first.turning += row.c / spec_.drag.rotational;
    }
    before_ = v_;
    first.residual = first.right = Make(1).residual;  // v holds imposed spins only, so r is b
    return first;
  }
  kernels::SweepSums Sweep(double omega, bool) {
    before_ = v_;
    v_ = made_;
    return Make(omega);
  }

 private:
  // Moves everything but the bead's own friction to the right-hand side.
  BalanceRow<double> Row(std::size_t i) const {
    BalanceRow<double> row(spec_.drag);
    for (std::size_t j = 0; j < beads_.size(); ++j) {
      const double dx = std::remainder(beads_[j].x - beads_[i].x, spec_.side_x);
      const double dy = std::remainder(beads_[j].y - beads_[i].y, spec_.side_y);
      const double r = std::hypot(dx, dy);
      if (j == i || r >= std::max(spec_.force.cutoff, spec_.friction.cutoff)) continue;
      const double weight = friction_.Weight(r);
      row.AddFriction(dx / r, dy / r, friction_.tangential * weight, friction_.normal * weight, r / 2, r / 2, v_[j]);
      row.AddPairForce(dx / r, dy / r, -force_.Force(r), 0, r / 2);
    }
    return row;
  }

  kernels::SweepSums Make(double omega) {
    kernels::SweepSums sums;
    for (std::size_t i = 0; i < v_.size(); ++i) {
      BalanceRow<double> row = Row(i);
      const Motion<double> left = row.Product(v_[i]);
      row.fx -= left.vx, row.fy -= left.vy;
      row.torque = beads_[i].spinner ? 0 : row.torque - left.spin;
      sums.residual += row.fx * row.fx + row.fy * row.fy + row.torque * row.torque;
      sums.weight += left.vx * left.vx + left.vy * left.vy + left.spin * left.spin;
      const Motion<double> more = beads_[i].spinner ? row.SolveWithSpin(0) : row.SolveFree();
      made_[i] = {kernels::Carried(omega, omega - 1, v_[i].vx, before_[i].vx, more.vx),
                  kernels::Carried(omega, omega - 1, v_[i].vy, before_[i].vy, more.vy),
                  kernels::Carried(omega, omega - 1, v_[i].spin, before_[i].spin, more.spin)};
    }
    return sums;
  }

  RunSpec spec_;
  std::vector<reference::Bead> beads_;
  kernels::PairForce<double> force_;
  kernels::PairFriction<double> friction_;
  std::vector<Motion<double>> v_, before_, made_;
};

RunSpec ConvergedSpec(std::int64_t n_beads, double tolerance = 1e-6) {
  RunSpec spec = DenseSpec(n_beads);
  spec.dynamics.equation = DynamicsSpec::Equation::kConverged;
  spec.dynamics.tolerance = tolerance;
  spec.n_steps = 1000;
  spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSteady, .amplitude = 20}, {}};
  return spec;
}

double LargestOf(const VectorXd& motion, Index part) {
  double largest = 1e-9;
  for (Index row = 0; row < motion.size(); ++row) {
    if ((row % 3 == 2) == (part == 2)) largest = std::max(largest, std::abs(motion(row)));
  }
  return largest;
}

void ExpectMotion(const std::vector<kernels::Bead>& beads, const VectorXd& truth, double tolerance) {
  const double speed = LargestOf(truth, 0), spin = LargestOf(truth, 2);
  for (std::size_t i = 0; i < beads.size(); ++i) {
    const Index row = 3 * static_cast<Index>(i);
    ASSERT_NEAR(beads[i].vx, truth(row), tolerance * speed) << "bead " << i;
    ASSERT_NEAR(beads[i].vy, truth(row + 1), tolerance * speed) << "bead " << i;
    ASSERT_NEAR(beads[i].spin, truth(row + 2), tolerance * spin) << "bead " << i;
  }
}

TEST(Sweeps, EqualADenseSolveInDouble) {
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    RunSpec spec = ConvergedSpec(200);
    spec.seeds.positions = seed;
    const auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
    PlainSystem system(spec, beads, 20);
    const kernels::SolverReport report = kernels::SolveBySweeps(system, 200, {1e-13}, 1000);
    EXPECT_TRUE(report.converged);
    EXPECT_LT(report.iterations, 100);
    const VectorXd truth = reference::Balance(spec, beads, {DriveSpec::Quantity::kRate, 20}).Solve();
    for (std::size_t i = 0; i < beads.size(); ++i) {
      const Index row = 3 * static_cast<Index>(i);
      ASSERT_NEAR(system.motion()[i].vx, truth(row), 1e-10 * LargestOf(truth, 0));
      ASSERT_NEAR(system.motion()[i].vy, truth(row + 1), 1e-10 * LargestOf(truth, 0));
      ASSERT_NEAR(system.motion()[i].spin, truth(row + 2), 1e-10 * LargestOf(truth, 2));
    }
  }
}

TEST(Converged, EqualsADenseSolveOnRandomBeds) {
  for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
      RunSpec spec = ConvergedSpec(200);
      spec.seeds.positions = seed;
      spec.drive.quantity = quantity;
      const auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
      const kernels::StepCodes runnable = kernels::RunnableStepCodes();
      for (int c = 0; c < runnable.count; ++c) {
        Bed bed(spec, *runnable.codes[c]);
        bed.Advance(1);
        ExpectMotion(bed.Beads(), reference::Balance(spec, beads, {quantity, 20}).Solve(), 1e-5);
      }
    }
  }
}

// The midpoint step of the reference: one random vector, drawn at the start of the step, enters both solves.
TEST(Converged, TakesTheMidpointStepOfTheReference) {
  RunSpec spec = ConvergedSpec(100);
  spec.temperature = 0.05;
  spec.drive.quantity = DriveSpec::Quantity::kTorque;
  const reference::Imposed torque{DriveSpec::Quantity::kTorque, 20};
  auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
  const reference::Balance start(spec, beads, torque, 0);
  auto middle = beads;
  RunSpec half_step = spec;
  half_step.time_step = spec.time_step / 2;
  reference::Move(half_step, start.Solve(), middle);
  const reference::Balance halfway(spec, middle, torque, 0);
  const VectorXd motion = halfway.matrix().ldlt().solve(halfway.conservative() + halfway.torques() + start.thermal());
  Bed bed(spec, kernels::BestStepCode());
  bed.Advance(1);
  ExpectMotion(bed.Beads(), motion, 2e-5);
}

// Under a steady drive the motion changes little from step to step: starting from the last motion takes a handful of
// sweeps to a residual of 1e-3, starting from zero over twice as many.
TEST(Converged, WarmStartTakesFewSweeps) {
  constexpr int kFew = 5;
  RunSpec spec = ConvergedSpec(200, 1e-3);
  const auto device = TestDevice(1);
  const auto begun = device->NewEnsemble(std::vector{spec});
  begun->Advance(500);
  const kernels::BedState warm = begun->Save(0);
  kernels::BedState cold = warm;
  for (auto* part : {&cold.vx, &cold.vy, &cold.spin}) std::fill(part->begin(), part->end(), 0.0f);
  const auto run = [&](const kernels::BedState& state, int max_sweeps) {
    spec.dynamics.max_iterations = max_sweeps;
    const auto ensemble = device->NewEnsemble(std::vector{spec});
    ensemble->Load(0, state);
    return ensemble->Advance(spec.n_steps)[0];
  };
  EXPECT_EQ(run(warm, kFew).verdict, kernels::Verdict::kFinished);
  for (const int max_sweeps : {kFew, 2 * kFew}) {
    const kernels::RunChunk stopped = run(cold, max_sweeps);
    EXPECT_EQ(stopped.verdict, kernels::Verdict::kUnstable);
    EXPECT_EQ(stopped.step, 500);
    ASSERT_TRUE(stopped.fault.has_value());
    EXPECT_EQ(stopped.fault->reason, kernels::Fault::Reason::kNotConverged);
  }
}

TEST(Converged, ReportsAResidualWithinItsTolerance) {
  RunSpec spec = ConvergedSpec(200, 1e-3);
  spec.measure.interval_steps = 100;
  const auto outcome = OutcomeOf(spec);
  const auto ensemble = TestDevice(1)->NewEnsemble(std::vector{spec});
  const auto residual = ValueAt(ensemble->columns(0), "friction_residual");
  EXPECT_EQ(outcome.samples.size(), 11u);
  for (const auto& sample : outcome.samples) {
    EXPECT_LE(sample.values[residual], 1e-3);
    EXPECT_GT(sample.values[residual], 0);
  }
}

TEST(Converged, SameBitsForEveryInstructionSetAndNumberOfThreads) {
  for (const std::int64_t n : {33, 40, 9000}) {
    RunSpec spec = ConvergedSpec(n, 1e-3);
    spec.temperature = 0.01;
    spec.n_steps = n > 1000 ? 20 : 300;
    const kernels::StepCodes runnable = kernels::RunnableStepCodes();
    Bed first(spec, *runnable.codes[0]);
    first.Advance(spec.n_steps);
    for (int c = 1; c < runnable.count; ++c) {
      Bed other(spec, *runnable.codes[c]);
      other.Advance(spec.n_steps);
      ExpectSamePositions(first.Beads(), other.Beads());
    }
    ExpectSameBits(OutcomeOf(spec, 7, 1), OutcomeOf(spec, 1000, 2));
  }
}

// Largest eigenvalue of D^-1 A. Sweeps with the block diagonal D contract where it is below 2.
double LargestEigenvalue(const Eigen::MatrixXd& a, Index block) {
  Eigen::MatrixXd d = Eigen::MatrixXd::Zero(a.rows(), a.cols());
  for (Index at = 0; at < a.rows(); at += block) d.block(at, at, block, block) = a.block(at, at, block, block);
  return Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd>(a, d, Eigen::EigenvaluesOnly)
      .eigenvalues()
      .maxCoeff();
}

// Exact: each pair's friction is u u^T with u on two beads, and (u_i x_i + u_j x_j)^2 <= 2 (u_i x_i)^2 + 2 (u_j x_j)^2,
// so twice the bead blocks bound it for any coefficients. A scalar diagonal does not: its sweeps diverge where friction
// along the line of centres, or rotational drag, is weak.
TEST(Lagged, SweepsWithTheBlockOfABeadContractWhereSweepsWithTheDiagonalDiverge) {
  for (const bool weak_normal : {true, false}) {
    RunSpec spec = DenseSpec(150);
    (weak_normal ? spec.friction.normal : spec.drag.rotational) = weak_normal ? 0.5 : 0.1;
    if (!weak_normal) spec.friction.normal = 0.5;
    const auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
    const Eigen::MatrixXd a = reference::Balance(spec, beads, {DriveSpec::Quantity::kTorque, 0}).matrix();
    EXPECT_GT(LargestEigenvalue(a, 1), 2) << "weak normal friction: " << weak_normal;
    EXPECT_LT(LargestEigenvalue(a, 3), 2) << "weak normal friction: " << weak_normal;
  }
}

// Weak friction along the line of centres; weak rotational drag.
TEST(Converged, HoldsItsToleranceWithAnisotropicFriction) {
  for (const bool weak_normal : {true, false}) {
    RunSpec spec = ConvergedSpec(400, 1e-3);
    spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSine, .amplitude = 20, .frequency = 1}, {}};
    spec.temperature = 0.002;
    spec.n_steps = 2000;
    spec.measure.interval_steps = 50;
    (weak_normal ? spec.friction.normal : spec.drag.rotational) = weak_normal ? 0.5 : 0.1;
    const auto device = TestDevice(1);
    const auto residual = ValueAt(device->NewEnsemble(std::vector{spec})->columns(0), "friction_residual");
    const Outcome outcome = OutcomeOf(spec);
    ASSERT_EQ(outcome.last.verdict, kernels::Verdict::kFinished);
    for (const auto& sample : outcome.samples) EXPECT_LE(sample.values[residual], 1e-3);
  }
}

TEST(Lagged, WarnsOnceWhenTheResidualExceedsThatOfNoMotion) {
  RunSpec spec = ConvergedSpec(400);
  spec.dynamics.equation = DynamicsSpec::Equation::kLagged;
  kernels::Course course(spec);
  kernels::RunChunk chunk;
  course.Warning(0.99, 1, chunk);
  EXPECT_EQ(chunk.warning, "");
  course.Warning(1.01, 2, chunk);
  EXPECT_NE(chunk.warning, "");
  kernels::RunChunk next;
  course.Warning(2, 3, next);
  EXPECT_EQ(next.warning, "");
  EXPECT_TRUE(course.running());
}

// Strong friction across the line of centres, weak friction along it, and weak rotational drag: one sweep per step lags
// behind.
TEST(Lagged, WarnsOnceWhereOneSweepDoesNotKeepUp) {
  RunSpec spec = ConvergedSpec(400);
  spec.dynamics.equation = DynamicsSpec::Equation::kLagged;
  spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSine, .amplitude = 20, .frequency = 1}, {}};
  spec.friction = {20, 0.5, 1.3, 1};
  spec.n_steps = 2000;
  spec.drag.rotational = 0.1;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 50;
  const auto device = TestDevice(1);
  int warnings = 0;
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  kernels::RunChunk chunk;
  while (chunk.verdict == kernels::Verdict::kRunning) {
    chunk = ensemble->Advance(50)[0];
    warnings += chunk.warning.empty() ? 0 : 1;
  }
  EXPECT_EQ(warnings, 1);
  EXPECT_FALSE(kernels::MayBeLagged(spec, kernels::PeaksOf(spec)));

  spec.friction = {};
  spec.drag = {};
  const auto usual = device->NewEnsemble(std::vector{spec});
  EXPECT_TRUE(usual->Advance(1000)[0].warning.empty());
}

}  // namespace
}  // namespace gyrebox
