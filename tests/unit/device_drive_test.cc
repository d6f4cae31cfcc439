// Drives on every device: per-spinner drives that begin during a run, spins that noise does not affect, and angles.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "beds.h"
#include "beside_cpu.h"
#include "gyrebox/bed_state.h"

namespace gyrebox {
namespace {

using kernels::DriveSpec;
using kernels::DynamicsSpec;
using kernels::Parameter;
using kernels::RunSpec;
using kernels::Verdict;
using kernels::WaveSpec;

// A bed whose spinners get individual drives at a step; with a long reach, its lists have overflowed before.
RunSpec DifferingFrom(std::int64_t step, DriveSpec::Quantity quantity, double friction_cutoff) {
  RunSpec spec = DenseSpec(100);
  spec.n_steps = 400;
  spec.measure.interval_steps = 100;
  spec.friction = {0.2, 0.2, friction_cutoff, 1};
  spec.drive = {quantity, {.shape = WaveSpec::Shape::kSine, .amplitude = 10, .frequency = 1.3}, {}};
  spec.adjustments = {
      {step, 0, {}, {{Parameter::kAmplitudeSpread, 0.1, false}, {Parameter::kFrequencySpread, 0.1, false}}}};
  return spec;
}

double TurningOf(const std::vector<kernels::Bead>& found, const std::vector<kernels::Bead>& expected) {
  double worst = 0;
  for (std::size_t i = 0; i < found.size(); ++i) {
    if (expected[i].spinner) worst = std::max(worst, std::abs(found[i].spin - expected[i].spin));
  }
  return worst;
}

// Rates are imposed: they follow from the phases alone, independent of bead motion.
TEST(DeviceSpread, SwitchedOnAfterAListOverflowedHasThePhasesOfTheCpu) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  for (const double cutoff : {1.3, 2.0}) {
    for (const std::int64_t step : {1, 250}) {
      const RunSpec spec = DifferingFrom(step, DriveSpec::Quantity::kRate, cutoff);
      const auto expected = Outcomes(*cpu, {spec}, 400)[0].beads;
      for (const std::int64_t chunk : {400, 130, 1}) {
        const auto found = Outcomes(*device, {spec}, chunk)[0].beads;
        EXPECT_LT(TurningOf(found, expected), 1e-4) << "cutoff " << cutoff << ", step " << step << ", chunk " << chunk;
      }
    }
  }
}

TEST(DeviceSpread, OfTorquesSwitchedOnAfterAListOverflowedTurnsSpinnersAsOnTheCpu) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  RunSpec spec = DifferingFrom(150, DriveSpec::Quantity::kTorque, 2.0);
  spec.n_steps = 200;
  const auto expected = Outcomes(*cpu, {spec}, 200)[0].beads;
  EXPECT_LT(TurningOf(Outcomes(*device, {spec}, 200)[0].beads, expected), 0.01);
}

// The rollback reaches a state before the spinners differed, so they diverge again.
TEST(DeviceSpread, IsTheSameAfterARetryFromBeforeIt) {
  const auto device = TestDevice();
  const auto cpu = kernels::OpenDevice("cpu", 1).device;
  RunSpec spec = DenseSpec(200);
  spec.time_step = 4e-3;
  spec.n_steps = 60;
  spec.temperature = 0.002;
  spec.measure.interval_steps = 20;
  spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSine, .amplitude = 40, .frequency = 1}, {}};
  spec.adjustments = {{3, 0, {}, {{Parameter::kAmplitudeSpread, 0.05, false}}}};
  spec.retry = {6, 4000};
  const Outcome expected = Outcomes(*cpu, {spec}, 100000)[0], found = Outcomes(*device, {spec}, 100000)[0];
  ASSERT_EQ(expected.last.verdict, Verdict::kFinished);
  ASSERT_EQ(found.last.verdict, Verdict::kFinished);
  EXPECT_LT(TurningOf(found.beads, expected.beads), 1e-4);
}

// Spinners keep individual phases after the spread has ended, and a saved state holds them.
TEST(DeviceSpread, ThatHasEndedResumesFromASavedState) {
  const auto device = TestDevice();
  RunSpec spec = DifferingFrom(10, DriveSpec::Quantity::kRate, 1.3);
  spec.n_steps = 120;
  spec.adjustments.push_back(
      {40, 0, {}, {{Parameter::kAmplitudeSpread, 0, false}, {Parameter::kFrequencySpread, 0, false}}});
  spec.adjustments.push_back({90, 0, {}, {{Parameter::kFrequencySpread, 0.2, false}}});
  const Outcome whole = Outcomes(*device, {spec}, 120)[0];
  for (const std::int64_t cut : {5, 20, 60, 100}) {
    const auto first = device->NewEnsemble(std::vector{spec});
    first->Advance(cut);
    const auto second = device->NewEnsemble(std::vector{spec});
    second->Load(0, kernels::FromBytes(kernels::ToBytes(first->Save(0))));
    ASSERT_EQ(second->Advance(spec.n_steps)[0].verdict, Verdict::kFinished);
    ASSERT_NO_FATAL_FAILURE(ExpectSamePositions(second->Beads(0), whole.beads)) << "cut at step " << cut;
    EXPECT_EQ(TurningOf(second->Beads(0), whole.beads), 0) << "cut at step " << cut;
  }
}

// Exact: under brownian dynamics a torque T turns a spinner at T / zeta_r, and its power is T^2 / zeta_r; noise does
// not contribute.
TEST(DevicePower, OfBrownianSpinnersHasNoNoiseInIt) {
  const auto device = TestDevice();
  RunSpec spec = DenseSpec(300);
  spec.n_steps = 40;
  spec.measure.interval_steps = 4;
  spec.temperature = 0.05;
  spec.drag.rotational = 2;
  spec.time_step = 1e-4;
  spec.dynamics = {.equation = DynamicsSpec::Equation::kBrownian, .transverse_coupling = 0};
  spec.drive = {DriveSpec::Quantity::kTorque, {.shape = WaveSpec::Shape::kSteady, .amplitude = 3}, {}};
  const auto columns = device->NewEnsemble(std::vector{spec})->columns(0);
  const auto power = ValueAt(columns, "drive_power"), passive = ValueAt(columns, "passive_spin");
  const Outcome outcome = Outcomes(*device, {spec}, 15)[0];
  ASSERT_EQ(outcome.samples.size(), 11u);
  for (const auto& sample : outcome.samples) {
    EXPECT_NEAR(sample.values[power], 9.0 / 2 * 100 / 300, 1e-5);
    EXPECT_EQ(sample.values[passive], 0);
  }
}

// Exact: at a rate A a spinner turns by A dt per step, however large. 5000 at 5e-4 gives 2.5 rad.
TEST(DeviceAngle, OfASpinnerThatTurnsFarInAStep) {
  const auto device = TestDevice();
  for (const double rate : {100.0, 3000.0, -3500.0, 5000.0, -7000.0, 20000.0}) {
    RunSpec spec;
    spec.n_beads = spec.n_spinners = 1;
    spec.side_x = spec.side_y = 10;
    spec.n_steps = 7;
    spec.drive = {DriveSpec::Quantity::kRate, {.shape = WaveSpec::Shape::kSteady, .amplitude = rate}, {}};
    auto beads = BeadsOf(spec, kernels::GenerateInitialState(spec));
    reference::Motions motions(1);
    const double start = beads[0].angle;
    for (int step = 0; step < 7; ++step) {
      reference::TakeStep(spec, reference::Method::kLagged, step, beads, motions);
    }
    const double turned = 7 * rate * spec.time_step;
    EXPECT_NEAR(beads[0].angle - start, turned, 1e-12 * std::abs(turned));
    const double found = Outcomes(*device, {spec}, 7)[0].beads[0].angle;
    EXPECT_NEAR(std::remainder(found - beads[0].angle, 2 * std::numbers::pi), 0, 2e-7 * (1 + std::abs(turned)))
        << "rate " << rate;
  }
}

}  // namespace
}  // namespace gyrebox
