// The step that follows from a run.
#include "dynamics/step_choice.h"

#include <gtest/gtest.h>

#include <cmath>

namespace gyrebox::kernels {
namespace {

RunSpec Default() {
  RunSpec spec;
  spec.temperature = 0.002;
  return spec;
}

TEST(StepChoice, IsTheLargestWhereNothingAsksForLess) {
  const StepChoice choice = ChooseStep(Default(), {.rate = 10, .frequency = 1, .temperature = 0.002});
  EXPECT_EQ(choice.limit, StepLimit::kLargest);
  EXPECT_EQ(choice.step, StepConstants().largest);
}

// A pair circles at 2 g / (zeta + 2 g) of the rate, here with g = 5 (1 - 1/1.3): at 0.69767 of it.
TEST(StepChoice, FollowsThePeakRateByTheOrderOfTheStep) {
  RunSpec spec = Default();
  const StepChoice at_135 = ChooseStep(spec, {.rate = 135});
  EXPECT_EQ(at_135.limit, StepLimit::kCircling);
  EXPECT_NEAR(at_135.step, 0.0125 / (0.69767 * 135), 1e-9);
  EXPECT_NEAR(ChooseStep(spec, {.rate = -270}).step, at_135.step / 2, 1e-12);
  spec.dynamics.step = DynamicsSpec::Step::kFirstOrder;
  EXPECT_NEAR(ChooseStep(spec, {.rate = 135}).step, 0.24 / std::pow(0.69767 * 135, 2), 1e-9);
  EXPECT_NEAR(ChooseStep(spec, {.rate = 270}).step, ChooseStep(spec, {.rate = 135}).step / 4, 1e-12);
}

TEST(StepChoice, FollowsWavesContactsAndNoise) {
  RunSpec spec = Default();
  EXPECT_EQ(ChooseStep(spec, {.rate = 1, .frequency = 100}).limit, StepLimit::kWave);
  EXPECT_NEAR(ChooseStep(spec, {.rate = 1, .frequency = 100}).step, 0.1 / (200 * 3.14159265358979), 1e-12);
  // Of first order the variance of places is off by the step, and a hundredth of it is soon reached.
  RunSpec first_order = spec;
  first_order.dynamics.step = DynamicsSpec::Step::kFirstOrder;
  EXPECT_EQ(ChooseStep(first_order, {.temperature = 0.5}).limit, StepLimit::kNoise);
  EXPECT_EQ(ChooseStep(spec, {.temperature = 0.5}).limit, StepLimit::kContact);
  RunSpec stiff = spec;
  stiff.dynamics.equation = DynamicsSpec::Equation::kBrownian;
  stiff.dynamics.swirl = 0;
  stiff.force = {ForceSpec::Law::kHarmonic, 2000, 0.05, 1};
  // Harmonic: stiffness 2000 at every touch, so a = 6 2000 dt / 1 is half of the limit, 1.
  const StepChoice contact = ChooseStep(stiff, {.rate = 1});
  EXPECT_EQ(contact.limit, StepLimit::kContact);
}

}  // namespace
}  // namespace gyrebox::kernels
