#include <gtest/gtest.h>

#include <cmath>

#include "beds.h"
#include "gyrebox/step_choice.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::RunSpec;
using kernels::WaveSpec;

RunSpec FreeBeads(double temperature) {
  RunSpec spec = DenseSpec(4096, 0.1);
  spec.n_spinners = 0;
  spec.force.strength = 0;
  spec.friction.tangential = spec.friction.normal = 0;
  spec.health.closest_pair = 0;
  spec.drag = {.translational = 1.5, .rotational = 0.6};
  spec.temperature = temperature;
  spec.n_steps = 1000;
  return spec;
}

// Exact: free beads diffuse, <dx^2> = 2 (kT / zeta) t and <dtheta^2> = 2 (kT / zeta_r) t, per step and over many steps.
TEST(FreeBeads, DiffuseAndTurnAsTheirDragsSay) {
  const RunSpec spec = FreeBeads(0.02);
  const auto device = TestDevice(1);
  const auto ensemble = device->NewEnsemble(std::vector{spec});
  const auto start = ensemble->Beads(0);
  const int steps = 25;
  double moves = 0, turns = 0, mean_x = 0, mean_turn = 0;
  for (int step = 0; step < steps; ++step) {
    ensemble->Advance(1);
    for (const auto& bead : ensemble->Beads(0)) {
      moves += std::pow(bead.vx * spec.time_step, 2) + std::pow(bead.vy * spec.time_step, 2);
      turns += std::pow(bead.spin * spec.time_step, 2);
      mean_x += bead.vx * spec.time_step;
      mean_turn += bead.spin * spec.time_step;
    }
  }
  double distances = 0;
  const auto end = ensemble->Beads(0);
  for (std::size_t i = 0; i < end.size(); ++i) {
    distances += std::pow(end[i].unwrapped_x - start[i].x, 2) + std::pow(end[i].unwrapped_y - start[i].y, 2);
  }
  const double samples = 4096.0 * steps;
  const double move = 2 * spec.temperature / spec.drag.translational * spec.time_step;
  const double turn = 2 * spec.temperature / spec.drag.rotational * spec.time_step;
  // Five standard errors; the square of a uniform number has relative variance 4/5, that of a sum of many has 2.
  EXPECT_NEAR(moves / (2 * samples) / move, 1, 5 * std::sqrt(0.8 / (2 * samples)));
  EXPECT_NEAR(turns / samples / turn, 1, 5 * std::sqrt(0.8 / samples));
  EXPECT_NEAR(mean_x / samples, 0, 5 * std::sqrt(move / samples));
  EXPECT_NEAR(mean_turn / samples, 0, 5 * std::sqrt(turn / samples));
  EXPECT_NEAR(distances / (2 * 4096) / (steps * move), 1, 5 * std::sqrt(2.0 / (2 * 4096)));
}

TEST(FreeBeads, RestWithoutTemperature) {
  const RunSpec spec = FreeBeads(0);
  for (const auto& bead : OutcomeOf(spec).beads) {
    ASSERT_EQ(bead.vx, 0);
    ASSERT_EQ(bead.unwrapped_x, bead.x);
  }
}

// Exact: a free driven bead turns at torque / zeta_r and does not translate.
TEST(FreeBeads, TurnUnderATorqueWithoutTranslating) {
  RunSpec spec = FreeBeads(0);
  spec.n_spinners = 2000;
  spec.drive = {DriveSpec::Quantity::kTorque, {WaveSpec::Shape::kSteady, 3, 0}, {}};
  for (const auto& bead : OutcomeOf(spec).beads) {
    ASSERT_NEAR(bead.spin, bead.spinner ? 3 / 0.6 : 0, 1e-6);
    ASSERT_EQ(bead.vx, 0);
  }
}

// Exact: without friction across the line of centres, no drive affects positions by a single bit.
TEST(SmoothBeads, MoveAlikeUnderEveryDrive) {
  for (const double temperature : {0.0, 0.002, 0.3}) {
    RunSpec spec = DenseSpec(150);
    spec.n_steps = 1500;
    spec.temperature = temperature;
    spec.friction.tangential = 0;
    spec.seeds.noise = 77;
    const Outcome undriven = OutcomeOf(spec);
    ASSERT_EQ(undriven.last.verdict, kernels::Verdict::kFinished);
    for (const auto quantity : {DriveSpec::Quantity::kRate, DriveSpec::Quantity::kTorque}) {
      for (const auto waveform : {WaveSpec::Shape::kSteady, WaveSpec::Shape::kSine}) {
        for (const double amplitude : {-7.0, 20.0, 5000.0}) {
          spec.drive = {quantity, {.shape = waveform, .amplitude = amplitude, .frequency = 1.3}, {}};
          const Outcome driven = OutcomeOf(spec);
          EXPECT_EQ(driven.last.verdict, kernels::Verdict::kFinished);
          ExpectSamePositions(driven.beads, undriven.beads);
        }
      }
    }
  }
}

// Positive control: the same beds with friction respond to the drive, so the test above can fail.
TEST(RoughBeads, MoveDifferentlyUnderADrive) {
  RunSpec spec = DenseSpec(150);
  spec.n_steps = 100;
  const Outcome undriven = OutcomeOf(spec);
  spec.drive = {DriveSpec::Quantity::kRate, {WaveSpec::Shape::kSine, 20, 1.3}, {}};
  EXPECT_NE(OutcomeOf(spec).beads[0].x, undriven.beads[0].x);
}

// Exact by symmetry: in a lattice whose beads all turn alike, no bead translates, and under a torque each turns at
// torque / (zeta_r + 3 gamma_t w d^2).
TEST(DrivenLattice, TurnsWithoutTranslating) {
  RunSpec spec;
  spec.n_beads = spec.n_spinners = 12 * 14;
  spec.start.arrangement = kernels::StartSpec::Arrangement::kTriangular;
  const kernels::Sides sides = kernels::FitSides(spec.start.arrangement, spec.n_beads, 0.8, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  spec.n_steps = 300;
  spec.drive = {DriveSpec::Quantity::kTorque, {WaveSpec::Shape::kSteady, 5, 0}, {}};
  const kernels::LatticeShape shape =
      kernels::ShapeOfLattice(kernels::StartSpec::Arrangement::kTriangular, spec.n_beads, spec.side_y / spec.side_x);
  const double d = spec.side_x / static_cast<double>(shape.columns);
  const double grip = spec.friction.tangential * (1 - d / spec.friction.cutoff);
  for (const auto& bead : OutcomeOf(spec).beads) {
    ASSERT_NEAR(bead.spin, 5 / (spec.drag.rotational + 3 * grip * d * d), 1e-5);
    ASSERT_NEAR(bead.unwrapped_x - bead.x, 0, 1e-9);
    ASSERT_NEAR(bead.vx, 0, 2e-5);
    ASSERT_NEAR(bead.vy, 0, 2e-5);
  }
}

// A thermal kick grows with the square root of the step and is harmless; an equal move by the drive is a fault.
TEST(Kicks, OfNoiseAreNoFault) {
  RunSpec spec;
  spec.n_beads = 400;
  spec.side_x = spec.side_y = 60;
  spec.force.strength = 0;
  spec.friction = {0, 0, 1.3, 1};
  spec.health.closest_pair = 0;
  spec.temperature = 4;
  spec.n_steps = 400;
  spec.measure.interval_steps = 1;
  for (const auto equation : {DynamicsSpec::Equation::kBrownian, DynamicsSpec::Equation::kLagged}) {
    spec.dynamics.equation = equation;
    const auto device = TestDevice(1);
    const auto at = ValueAt(device->NewEnsemble(std::vector{spec})->columns(0), "largest_move");
    const Outcome outcome = OutcomeOf(spec);
    ASSERT_EQ(outcome.last.verdict, kernels::Verdict::kFinished) << outcome.last.fault->message;
    double largest = 0;
    for (const auto& sample : outcome.samples) largest = std::max(largest, sample.values[at]);
    // The health limit alone would have ended the run: the standard deviation is 0.063 along each axis.
    EXPECT_GT(largest, 1.3 * spec.health.largest_move);
    EXPECT_LT(largest, spec.health.largest_move + kernels::kLargestKick * std::sqrt(2 * 4 * spec.time_step));
  }
}

}  // namespace
}  // namespace gyrebox
