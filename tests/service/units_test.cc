// Conversion of units, and limits of fields.
#include "gyrebox/units.h"

#include <gtest/gtest.h>

#include "gyrebox/field_limits.h"

namespace gyrebox::units {
namespace {

constexpr double kWater = 0.890e-3;  // Pa s at 298.15 K; from memory
constexpr double kRoom = 298.15;
constexpr double kTurn = 2 * std::numbers::pi;

void ExpectClose(double value, double expected, double fraction) { EXPECT_NEAR(value, expected, fraction * expected); }

double TranslationalDiffusion(double diameter) {
  return Diffusion(ThermalEnergy(kRoom), TranslationalDrag(kWater, diameter));
}
double AngleDiffusion(double diameter) { return Diffusion(ThermalEnergy(kRoom), RotationalDrag(kWater, diameter)); }

// Values computed by a separate program from the Stokes and Einstein relations, to four and five digits.
TEST(UnitsTest, BeadsInWaterDiffuseAsWorkedOutSeparately) {
  ExpectClose(ThermalEnergy(kRoom), 4.1164e-21, 1e-4);
  ExpectClose(TranslationalDiffusion(1e-6), 4.907e-13, 1e-4);
  ExpectClose(TranslationalDiffusion(2e-6), 2.454e-13, 2e-4);
  ExpectClose(TranslationalDiffusion(4.5e-6), 1.0906e-13, 1e-4);
  ExpectClose(AngleDiffusion(1e-6), 1.4722, 1e-4);
  ExpectClose(AngleDiffusion(2e-6), 0.18403, 1e-4);
  ExpectClose(AngleDiffusion(4.5e-6), 0.016156, 1e-4);
}

TEST(UnitsTest, RotationalDiffusionIsThreeTimesTranslationalOverDiameterSquared) {
  EXPECT_DOUBLE_EQ(AngleDiffusion(2e-6) * 4e-12, 3 * TranslationalDiffusion(2e-6));
}

// Computed by a separate program.
TEST(UnitsTest, TheUnitOfTimeIsThatOfDiffusionWhereTheReducedTemperatureIsOne) {
  ExpectClose(ScaleOf(2e-6, kWater, kRoom, 1).time, 16.30, 5e-4);
  ExpectClose(ScaleOf(4.5e-6, kWater, kRoom, 1).time, 185.7, 5e-4);
  ExpectClose(ScaleOf(2e-6, kWater, kRoom, 1).ReducedFrequency(1), 16.30, 5e-4);
  ExpectClose(ScaleOf(2e-6, kWater, kRoom, 1).Torque(1), 4.1164e-21, 1e-4);
  ExpectClose(ScaleOf(2e-6, kWater, kRoom, 0.002).time, 16.30 * 0.002, 5e-4);
}

// Computed by a separate program: beads of radius 1.5 and 2.25 um in water that turn 5 times a second.
TEST(UnitsTest, BeadsThatTurnFiveTimesASecond) {
  const double rate = kTurn * 5;
  const double small = RotationalDrag(kWater, 3e-6) * rate, large = RotationalDrag(kWater, 4.5e-6) * rate;
  ExpectClose(small, 2.37e-18, 2e-3);
  ExpectClose(small / ThermalEnergy(kRoom), 576, 1e-3);
  ExpectClose(PecletNumber(rate, 3e-6, TranslationalDiffusion(3e-6)), 1728, 5e-4);
  ExpectClose(large, 8.00e-18, 2e-3);
  ExpectClose(large / ThermalEnergy(kRoom), 1945, 5e-4);
  ExpectClose(PecletNumber(rate, 4.5e-6, TranslationalDiffusion(4.5e-6)), 5834, 5e-4);
}

TEST(UnitsTest, ThePecletNumberIsTheReducedRateOverTheReducedTemperature) {
  const Scale scale = ScaleOf(3e-6, kWater, kRoom, 0.002);
  ExpectClose(PecletNumber(scale.Rate(20), 3e-6, TranslationalDiffusion(3e-6)), 20 / 0.002, 1e-12);
}

TEST(UnitsTest, TheMasonNumberIsOneAtTheStepOutRate) {
  const double step_out = StepOutRate(1e-15, 5e-3, kWater, 3e-6);
  EXPECT_DOUBLE_EQ(step_out * RotationalDrag(kWater, 3e-6), 5e-18);  // torque = moment times field
  EXPECT_DOUBLE_EQ(MasonNumber(step_out, 1e-15, 5e-3, kWater, 3e-6), 1);
  EXPECT_DOUBLE_EQ(MasonNumber(2 * step_out, 1e-15, 5e-3, kWater, 3e-6), 2);
}

TEST(UnitsTest, ConversionsRoundTrip) {
  const Scale scale = ScaleOf(3e-6, kWater, kRoom, 0.5);
  EXPECT_DOUBLE_EQ(scale.ReducedLength(scale.Length(7)), 7);
  EXPECT_DOUBLE_EQ(scale.ReducedTime(scale.Time(7)), 7);
  EXPECT_DOUBLE_EQ(scale.ReducedRate(scale.Rate(7)), 7);
  EXPECT_DOUBLE_EQ(scale.ReducedTorque(scale.Torque(7)), 7);
  EXPECT_DOUBLE_EQ(scale.ReducedFrequency(scale.Frequency(7)), 7);
}

// ICNIRP, Health Physics 99, 818 (2010).
TEST(FieldLimitsTest, LevelsOfIcnirp2010) {
  const auto expect = [](double frequency, double occupational, double general_public) {
    EXPECT_NEAR(LevelsAt(frequency).occupational, occupational, 1e-12) << frequency;
    EXPECT_NEAR(LevelsAt(frequency).general_public, general_public, 1e-12) << frequency;
  };
  expect(1, 0.2, 0.04);
  expect(5, 8e-3, 1.6e-3);
  expect(20, 1.25e-3, 0.25e-3);
  expect(50, 1e-3, 0.2e-3);
  expect(60, 1e-3, 0.2e-3);
  expect(350, 0.3 / 350, 0.2e-3);
  expect(1000, 0.3e-3, 0.08e-3);
  expect(1e5, 1e-4, 2.7e-5);
}

TEST(FieldLimitsTest, LevelsHardlyJumpWhereTheBandsMeet) {
  for (const double edge : {8.0, 25.0, 300.0, 400.0, 3000.0}) {
    const auto below = LevelsAt(edge * (1 - 1e-9)), above = LevelsAt(edge);
    ExpectClose(above.occupational, below.occupational, 1e-6);
    ExpectClose(above.general_public, below.general_public, 0.02);  // the public levels are rounded
  }
}

}  // namespace
}  // namespace gyrebox::units
