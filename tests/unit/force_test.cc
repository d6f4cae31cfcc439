#include "model/force.h"

#include <gtest/gtest.h>

#include <cmath>

#include "reference/reference.h"

namespace gyrebox::kernels {
namespace {

using Law = ForceSpec::Law;

const ForceSpec kSpecs[] = {
    {},
    {.strength = 7, .decay_length = 0.11, .cutoff = 1.45},
    {.law = Law::kSoft, .strength = 25, .cutoff = 1},
    {.law = Law::kWca, .strength = 1, .cutoff = 1.122462048309373},
    {.law = Law::kHarmonic, .strength = 200, .cutoff = 1},
    {.law = Law::kYukawa, .strength = 10, .decay_length = 0.125, .cutoff = 2},
};

TEST(PairForce, IsMinusTheGradientOfItsEnergy) {
  for (const ForceSpec& spec : kSpecs) {
    const PairForce<double> law(spec);
    const double h = 1e-4;
    for (double r = 0.8; r < spec.cutoff - 2 * h; r += 0.0037) {
      const double slope =
          (8 * (law.Energy(r + h) - law.Energy(r - h)) - law.Energy(r + 2 * h) + law.Energy(r - 2 * h)) / (12 * h);
      ASSERT_NEAR(law.Force(r), -slope, 1e-7 * std::max(spec.strength, law.Force(r))) << r;
    }
  }
}

TEST(PairForce, IsContinuousAtItsCutoff) {
  for (const ForceSpec& spec : kSpecs) {
    const PairForce<double> law(spec);
    const double inside = spec.cutoff - 1e-9;
    EXPECT_NEAR(law.Force(inside), 0, 4e-9 * spec.strength / spec.decay_length);
    EXPECT_NEAR(law.Energy(inside), 0, 1e-12);
    EXPECT_EQ(law.Force(spec.cutoff), 0);
    EXPECT_EQ(law.Energy(spec.cutoff), 0);
    EXPECT_EQ(law.Force(spec.cutoff + 1), 0);
    EXPECT_EQ(law.Energy(spec.cutoff + 1), 0);
  }
}

// Exact.
TEST(ExponentialForce, AtContactIsItsStrengthLessTheShift) {
  const PairForce<double> law{ForceSpec{}};
  EXPECT_NEAR(law.Force(1), 20 * (1 - std::exp(-6)), 1e-10);
  EXPECT_NEAR(law.Energy(1), 20 * (0.05 * (1 - std::exp(-6)) - 0.3 * std::exp(-6)), 1e-10);
}

TEST(PairForce, IsThatOfTheReference) {
  for (const ForceSpec& spec : kSpecs) {
    const PairForce<double> fine(spec);
    const PairForce<float> coarse(spec);
    for (double r = 0.6; r < 1.6; r += 0.0013) {
      const double force = reference::PairForce(spec, r), energy = reference::PairEnergy(spec, r);
      ASSERT_NEAR(fine.Force(r), force, 1e-11 * (spec.strength + force)) << r;
      ASSERT_NEAR(fine.Energy(r), energy, 1e-11 * (spec.strength + energy)) << r;
      // A float distance has an error of 6e-8, and the force changes by 1/decay_length of itself per unit distance.
      ASSERT_NEAR(coarse.Force(static_cast<float>(r)), force, 3e-6 * (spec.strength + force)) << r;
    }
  }
}

}  // namespace
}  // namespace gyrebox::kernels
