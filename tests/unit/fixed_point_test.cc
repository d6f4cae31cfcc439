#include "model/fixed_point.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>

namespace gyrebox::kernels {
namespace {

constexpr double kQuantum = 0x1p-32;  // of the side

TEST(FixedPoint, ASlowBeadTravelsTheRightDistance) {
  const FixedAxis<float> axis(40.0);
  for (const double quanta_a_step : {1e-3, 0.3, 0.499, 0.5, 0.501, 1.25, -1e-3, -0.7}) {
    const float move = static_cast<float>(quanta_a_step * 40 * kQuantum);
    std::uint32_t position = 1u << 31;
    float remainder = 0;
    const int steps = 100000;
    for (int i = 0; i < steps; ++i) Advance(position, remainder, move, axis.quanta_of_length);
    const double travelled = static_cast<double>(AsSigned(position - (1u << 31))) + remainder;
    const double wanted = static_cast<double>(move) * axis.quanta_of_length * steps;
    EXPECT_NEAR(travelled, wanted, 1 + 1e-4 * std::abs(wanted)) << quanta_a_step;
  }
}

TEST(FixedPoint, MovesToAndFroDoNotDrift) {
  const FixedAxis<float> axis(1000.0);
  std::mt19937 random(3);
  std::uniform_real_distribution<float> move(-3e-3f, 3e-3f);
  std::uint32_t position = 0;
  float remainder = 0;
  double wanted = 0, variance = 0;
  for (int i = 0; i < 1000000; ++i) {
    const float step = move(random);
    wanted += static_cast<double>(step) * (0x1p32 / 1000.0);
    // A float product of this size is rounded by at most half a unit in its last place.
    variance += std::pow(std::abs(step) * (0x1p32 / 1000.0) * 0x1p-24, 2);
    Advance(position, remainder, step, axis.quanta_of_length);
  }
  EXPECT_NEAR(static_cast<double>(AsSigned(position)), wanted, 1 + 5 * std::sqrt(variance));
}

TEST(FixedPoint, TheRemainderStaysWithinHalfAQuantum) {
  const FixedAxis<float> axis(20.0);
  std::uint32_t position = 0;
  float remainder = 0;
  for (int i = 0; i < 100000; ++i) {
    Advance(position, remainder, 1.37e-9f, axis.quanta_of_length);
    ASSERT_LE(std::abs(remainder), 0.5f);
  }
}

TEST(FixedPoint, AMoveAcrossABoundaryEntersAtTheOther) {
  const FixedAxis<double> axis(32.0);
  std::uint32_t position = ToFixed(31.75 / 32);
  double remainder = 0;
  Advance(position, remainder, 0.5, axis.quanta_of_length);
  EXPECT_DOUBLE_EQ(FromFixed(position, 32), 0.25);
  Advance(position, remainder, -0.5, axis.quanta_of_length);
  EXPECT_DOUBLE_EQ(FromFixed(position, 32), 31.75);
}

TEST(FixedPoint, DifferencesAreOfTheNearestImage) {
  const FixedAxis<double> axis(10.0);
  const auto between = [&](double from, double to) {
    return Difference(ToFixed(from / 10), ToFixed(to / 10), axis.length_of_quantum);
  };
  EXPECT_NEAR(between(1, 4), 3, 1e-8);
  EXPECT_NEAR(between(4, 1), -3, 1e-8);
  EXPECT_NEAR(between(9.5, 0.5), 1, 1e-8);
  EXPECT_NEAR(between(0.5, 9.5), -1, 1e-8);
  EXPECT_NEAR(between(0, 4.99), 4.99, 1e-8);
  EXPECT_NEAR(between(0, 5.01), -4.99, 1e-8);
}

TEST(FixedPoint, AnyFractionIsWrappedIntoTheDomain) {
  EXPECT_EQ(ToFixed(0), 0u);
  EXPECT_EQ(ToFixed(1), 0u);
  EXPECT_EQ(ToFixed(-1e-20), 0u);
  EXPECT_EQ(ToFixed(0.5), 1u << 31);
  EXPECT_EQ(ToFixed(-0.25), 3u << 30);
  EXPECT_EQ(ToFixed(7.75), 3u << 30);
}

TEST(FixedPoint, AHugeMoveIsLimitedToAQuarterOfTheSide) {
  const FixedAxis<float> axis(10.0);
  std::uint32_t position = 0;
  float remainder = 0;
  Advance(position, remainder, 1e20f, axis.quanta_of_length);
  EXPECT_EQ(position, 1u << 30);
  Advance(position, remainder, -1e20f, axis.quanta_of_length);
  EXPECT_EQ(position, 0u);
}

// Against turns counted in double precision; a float product of so many quanta has a relative error of 2^-24.
TEST(FixedPoint, AnAngleTurnsByAnyNumberOfRadians) {
  std::mt19937 random(7);
  std::uniform_real_distribution<float> turning(-40, 40);
  const float half_turn = 3.14159265f;
  for (int i = 0; i < 100000; ++i) {
    const float radians = i < 4 ? (i % 2 == 0 ? 1.0f : -1.0f) * (i < 2 ? half_turn : 3 * half_turn) : turning(random);
    const auto start = static_cast<std::uint32_t>(random());
    std::uint32_t angle = start;
    Turn(angle, radians);
    const double wanted = static_cast<double>(start) + static_cast<double>(radians) * kQuantaOfRadian;
    const double off = std::remainder(static_cast<double>(angle) - wanted, 0x1p32);
    ASSERT_LE(std::abs(off), 128 + std::abs(radians) * kQuantaOfRadian * 0x1p-23) << radians;
  }
  std::uint32_t angle = 0;
  for (const float wild : {1e30f, -1e30f, std::numeric_limits<float>::infinity(), std::nanf("")}) Turn(angle, wild);
}

}  // namespace
}  // namespace gyrebox::kernels
