// The hard discs equivalent to WCA beads, from the engine's force law alone, and known results for such discs.
// "Computed separately" marks values of another program with the same definitions.
#include "hard_discs.h"

#include <gtest/gtest.h>

#include "disc_fluid.h"

namespace gyrebox {
namespace {

// Computed separately; the value at kT = epsilon is 1.01567 by the fit of Verlet & Weis, Phys. Rev. A 5, 939 (1972),
// from memory.
TEST(WcaBeads, HaveTheDiameterOfBarkerAndHenderson) {
  const auto diameter = [](double temperature) { return DiscDiameter(DiscFluid::force(), temperature); };
  EXPECT_NEAR(diameter(0.01), 1.106880, 1e-6);
  EXPECT_NEAR(diameter(0.1), 1.078511, 1e-6);
  EXPECT_NEAR(diameter(0.5), 1.038996, 1e-6);
  EXPECT_NEAR(diameter(1), 1.015605, 1e-6);
  EXPECT_NEAR(diameter(2), 0.988327, 1e-6);
  EXPECT_NEAR(diameter(5), 0.946847, 1e-6);
}

// Computed separately.
TEST(WcaBeads, HaveTheirSecondVirialCoefficient) {
  EXPECT_NEAR(SecondVirialCoefficient(DiscFluid::force(), 1), 1.622847, 1e-6);
}

// Exact: the coefficient of discs of diameter d is pi d^2 / 2; cooling beads approach it.
TEST(WcaBeads, HaveTheSecondVirialCoefficientOfDiscsWhereTheyAreCold) {
  const auto over_that_of_discs = [](double temperature) {
    const double d = DiscDiameter(DiscFluid::force(), temperature);
    return SecondVirialCoefficient(DiscFluid::force(), temperature) / (std::numbers::pi * d * d / 2);
  };
  EXPECT_NEAR(over_that_of_discs(0.01), 1, 1e-3);
  EXPECT_LT(std::abs(over_that_of_discs(0.01) - 1), std::abs(over_that_of_discs(1) - 1));
}

// Beads at a nominal packing fraction of 0.70 act as discs at 0.722, beyond freezing.
TEST(WcaBeads, FillMoreThanTheirNominalFraction) {
  DiscFluid fluid;
  fluid.temperature = 1;
  fluid.phi = 0.722;
  EXPECT_NEAR(fluid.nominal_phi(), 0.70, 5e-4);
}

// Computed separately from the same coefficients.
TEST(HardDiscs, HaveTheirVirialSeries) {
  EXPECT_NEAR(VirialSeries(0.05), 1.10839, 1e-5);
  EXPECT_NEAR(VirialSeries(0.1), 1.23614, 1e-5);
  EXPECT_NEAR(VirialSeries(0.2), 1.57036, 1e-5);
  EXPECT_NEAR(VirialSeries(0.3), 2.06316, 1e-5);
}

// Computed separately from the same closed form; it agrees with the series where that converges.
TEST(HardDiscs, HaveTheirClosedForm) {
  EXPECT_NEAR(ClosedForm(0.3), 2.06369, 1e-5);
  EXPECT_NEAR(ClosedForm(0.5), 4.10516, 1e-5);
  EXPECT_NEAR(ClosedForm(0.65), 8.4414, 1e-4);
  for (const double phi : {0.05, 0.1, 0.2, 0.3}) EXPECT_NEAR(ClosedForm(phi), VirialSeries(phi), 6e-4) << phi;
}

// Exact at low density: a bed of N discs has a fraction 1 - 1/N of the pairs.
TEST(HardDiscs, LackPairsInAFiniteBed) { EXPECT_NEAR(LackOfFiniteBed(0.002, 100), 2 * 0.002 / 100, 1e-6); }

}  // namespace
}  // namespace gyrebox
