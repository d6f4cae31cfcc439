// The time step derived from a run.
#include "gyrebox/step_choice.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace gyrebox::kernels {
namespace {

constexpr double kLoose = 0.5, kDense = 0.7;
const StepConstants kConstants;

RunSpec Default() {
  RunSpec spec;
  spec.temperature = 0.002;
  spec.drive.wave = {.shape = WaveSpec::Shape::kSine, .amplitude = 20, .frequency = 1};
  return spec;
}

RunSpec Driven(double amplitude) {
  RunSpec spec = Default();
  spec.drive.wave.amplitude = amplitude;
  return spec;
}

StepChoice ChoiceOf(const RunSpec& spec, double packing = kLoose) { return ChooseStep(spec, PeaksOf(spec), packing); }

TEST(StepChoice, IsTheLargestWhereNothingRequiresLess) {
  const StepChoice choice = ChoiceOf(Driven(10));
  EXPECT_EQ(choice.limit, StepLimit::kLargest);
  EXPECT_EQ(choice.step, kConstants.largest);
}

// Common practice: at packing 0.70 and up to 60 rad/tau, sizes do not change below a first-order step of 5e-4.
TEST(StepChoice, LosesNothingUnderWeakDrives) {
  for (const double temperature : {0.0, 0.002}) {
    for (const double amplitude : {8.0, 20.0, 30.0}) {
      RunSpec spec = Driven(amplitude);
      spec.temperature = temperature;
      EXPECT_EQ(ChoiceOf(spec, kDense).step, 5e-4);
      EXPECT_EQ(ChoiceOf(spec, kLoose).step, 5e-4);
    }
  }
  RunSpec first_order = Driven(60);
  first_order.dynamics.step = DynamicsSpec::Step::kFirstOrder;
  EXPECT_EQ(ChoiceOf(first_order, kDense).step, 5e-4);
}

// A pair circles at 2 g / (zeta + 2 g) of the rate, here with g = 5 (1 - 1/1.3): at 0.69767 of it.
TEST(StepChoice, FollowsThePeakRateByTheOrderOfTheStep) {
  RunSpec spec = Driven(135);
  spec.temperature = 0;
  const StepChoice at_135 = ChoiceOf(spec);
  EXPECT_EQ(at_135.limit, StepLimit::kCircling);
  EXPECT_NEAR(at_135.step, kConstants.turn / (0.69767 * 135), 1e-9);
  EXPECT_EQ(ChoiceOf(spec, kDense).step, at_135.step);
  RunSpec twice = spec;
  twice.drive.wave.amplitude = -270;
  EXPECT_NEAR(ChoiceOf(twice).step, at_135.step / 2, 1e-12);
  spec.dynamics.step = twice.dynamics.step = DynamicsSpec::Step::kFirstOrder;
  const StepChoice first_order = ChoiceOf(spec);
  EXPECT_NEAR(first_order.step, 2 * kConstants.drift / std::pow(0.69767 * 135, 2), 1e-9);
  EXPECT_NEAR(ChoiceOf(twice).step, first_order.step / 4, 1e-12);
  EXPECT_NEAR(ChoiceOf(spec, kDense).step, first_order.step * kConstants.drift_pressed, 1e-12);
}

// A converged step with noise is a midpoint step, of second order whatever order is requested.
TEST(StepChoice, FollowsTheOrderThatARunTakes) {
  RunSpec spec = Driven(135), first_order = Driven(135);
  first_order.dynamics.step = DynamicsSpec::Step::kFirstOrder;
  EXPECT_GT(ChoiceOf(spec).step, 3 * ChoiceOf(first_order).step);
  first_order.dynamics.equation = DynamicsSpec::Equation::kConverged;
  EXPECT_EQ(ChoiceOf(spec).step, ChoiceOf(first_order).step);
}

TEST(StepChoice, TakesTheOrderOfLessWork) {
  using Step = DynamicsSpec::Step;
  RunSpec spec = Driven(1);
  EXPECT_EQ(ChooseOrder(spec, PeaksOf(spec), kLoose), Step::kFirstOrder);
  spec = Driven(200);
  EXPECT_EQ(ChooseOrder(spec, PeaksOf(spec), kLoose), Step::kSecondOrder);
  spec = Driven(1);
  spec.dynamics.equation = DynamicsSpec::Equation::kConverged;
  EXPECT_EQ(ChooseOrder(spec, PeaksOf(spec), kLoose), Step::kSecondOrder);
}

TEST(StepChoice, FollowsWavesContactsAndNoise) {
  RunSpec fast = Driven(1);
  fast.drive.wave.frequency = 100;
  EXPECT_EQ(ChoiceOf(fast).limit, StepLimit::kWave);
  EXPECT_NEAR(ChoiceOf(fast).step, kConstants.phase / (200 * std::numbers::pi), 1e-12);
  // At first order the variance of positions has a relative error proportional to the step, which soon reaches 1 %.
  RunSpec warm = Driven(0);
  warm.temperature = 0.5;
  EXPECT_EQ(ChoiceOf(warm).limit, StepLimit::kContact);
  warm.dynamics.step = DynamicsSpec::Step::kFirstOrder;
  EXPECT_EQ(ChoiceOf(warm).limit, StepLimit::kNoise);
  RunSpec stiff = Driven(1);
  stiff.temperature = 0;
  stiff.dynamics.equation = DynamicsSpec::Equation::kBrownian;
  stiff.dynamics.transverse_coupling = 0;
  stiff.force = {ForceSpec::Law::kHarmonic, 2000, 0.05, 1};
  // Harmonic: stiffness 2000 at every contact, so the step is the margin over 6 times that.
  EXPECT_EQ(ChoiceOf(stiff).limit, StepLimit::kContact);
  EXPECT_NEAR(ChoiceOf(stiff).step, kConstants.margin / 12000, 1e-9);
  // Without forces only noise moves a free bead: 6 sqrt(2 kT dt / zeta) is the limit.
  RunSpec free = Driven(0);
  free.dynamics.equation = DynamicsSpec::Equation::kBrownian;
  free.force.strength = 0;
  free.temperature = 2;
  EXPECT_EQ(ChoiceOf(free).limit, StepLimit::kKick);
  EXPECT_NEAR(kLargestKick * std::sqrt(2 * 2 * ChoiceOf(free).step), kConstants.kick, 1e-12);
}

TEST(StepChoice, NamesWhatSetsIt) {
  for (const auto limit : {StepLimit::kCircling, StepLimit::kWave, StepLimit::kContact, StepLimit::kNoise,
                           StepLimit::kKick, StepLimit::kLargest}) {
    EXPECT_FALSE(InWords(limit).empty());
  }
}

Peaks With(const RunSpec& spec, const std::vector<Adjustment>& adjustments) {
  RunSpec steered = spec;
  steered.adjustments = adjustments;
  return PeaksOf(steered);
}

TEST(Peaks, AreThoseOfTheWave) {
  RunSpec spec = Driven(20);
  EXPECT_EQ(PeaksOf(spec).rate, 20);
  EXPECT_EQ(PeaksOf(spec).frequency, 1);
  spec.drive.wave.shape = WaveSpec::Shape::kAm;
  spec.drive.wave.depth = 0.5;
  spec.drive.wave.modulation_frequency = 0.25;
  EXPECT_EQ(PeaksOf(spec).rate, 30);
  EXPECT_EQ(PeaksOf(spec).frequency, 1.25);
  spec.drive.wave.shape = WaveSpec::Shape::kFm;
  spec.drive.wave.index = 3;
  EXPECT_EQ(PeaksOf(spec).rate, 20);
  EXPECT_EQ(PeaksOf(spec).frequency, 2);  // Carson's rule
  spec.drive.wave.shape = WaveSpec::Shape::kChirp;
  spec.drive.wave.last_frequency = 4;
  EXPECT_EQ(PeaksOf(spec).frequency, 4);
  spec.drive.wave.shape = WaveSpec::Shape::kSum;
  spec.drive.wave.n_terms = 2;
  spec.drive.wave.term_weights[0] = 1;
  spec.drive.wave.term_weights[1] = -0.5;
  EXPECT_EQ(PeaksOf(spec).rate, 30);
  spec.drive.quantity = DriveSpec::Quantity::kTorque;
  spec.drag.rotational = 2;
  EXPECT_EQ(PeaksOf(spec).rate, 15);
}

TEST(Peaks, CountSpreadsAndJitterAtTheirWidest) {
  RunSpec spec = Driven(20);
  spec.drive.disorder.amplitude_spread = 0.1;
  spec.drive.disorder.frequency_spread = 0.2;
  EXPECT_DOUBLE_EQ(PeaksOf(spec).rate, 26);
  EXPECT_DOUBLE_EQ(PeaksOf(spec).frequency, 1.6);
  spec.drive.disorder.jitter = 0.1;
  EXPECT_DOUBLE_EQ(PeaksOf(spec).rate, 20 * 1.3 * 1.3);
}

TEST(Peaks, AreThoseOfTheWholeCourse) {
  const RunSpec spec = Driven(20);
  const Adjustment up = {.step = 10, .ramp_steps = 0, .wave = {}, .changes = {{Parameter::kAmplitude, 60, false}}};
  const Adjustment down = {.step = 20, .ramp_steps = 5, .wave = {}, .changes = {{Parameter::kAmplitude, 5, true}}};
  const Adjustment hot = {.step = 30, .ramp_steps = 5, .wave = {}, .changes = {{Parameter::kTemperature, 0.5, true}}};
  EXPECT_EQ(With(spec, {up, down}).rate, 60);
  EXPECT_EQ(With(spec, {down}).rate, 20);
  EXPECT_EQ(With(spec, {hot}).temperature, 0.5);
  const Adjustment rough = {
      .step = 1, .ramp_steps = 0, .wave = {}, .changes = {{Parameter::kFrictionNormal, 1, false}}};
  EXPECT_EQ(With(spec, {rough}).normal, 1);
  EXPECT_EQ(With(spec, {rough}).tangential, 5);
  const Adjustment other = {
      .step = 5, .ramp_steps = 0, .wave = {{.shape = WaveSpec::Shape::kSteady, .amplitude = -80}}, .changes = {}};
  EXPECT_EQ(With(spec, {other}).rate, 80);
  EXPECT_EQ(With(spec, {other}).frequency, 1);
}

// Ramps of several parameters may overlap, so each counts at the higher of its two ends.
TEST(Peaks, TakeSimultaneousRampsAtTheirHigherEnds) {
  RunSpec spec = Driven(60);
  spec.drive.wave.shape = WaveSpec::Shape::kAm;
  const Adjustment both = {.step = 0,
                           .ramp_steps = 100,
                           .wave = {},
                           .changes = {{Parameter::kAmplitude, 10, true}, {Parameter::kDepth, 1, true}}};
  EXPECT_EQ(With(spec, {both}).rate, 120);
}

}  // namespace
}  // namespace gyrebox::kernels
