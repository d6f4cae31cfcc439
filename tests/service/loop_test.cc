// Hysteresis loops, and the apparent loop of a delayed response.
#include "estimators/loop.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "estimators/response.h"

namespace gyrebox::analysis {
namespace {

TEST(LoopTest, ASingleValuedCurveEnclosesNothing) {
  std::vector<SweepPoint> up, down, round;
  for (int i = 0; i <= 20; ++i) up.push_back({i * 1.0, i * i * 1.0});
  down.assign(up.rbegin(), up.rend());
  EXPECT_NEAR(*SignedAreaBetween(up, down), 0, 1e-12);
  round = up;
  round.insert(round.end(), down.begin(), down.end());
  EXPECT_NEAR(EnclosedArea(round), 0, 1e-9);
}

// x' = -(x - chi F) / tau under F0 cos(w t): area pi chi F0^2 w tau / (1 + w^2 tau^2), largest, pi chi F0^2 / 2, at
// w tau = 1. Exact (Debye relaxation).
TEST(LoopTest, OfALinearResponseHasTheDebyeArea) {
  constexpr double kChi = 1.7, kForce = 2.3;
  for (const double wt : {0.1, 1.0, 5.0}) {
    std::vector<SweepPoint> loop;
    constexpr int kPoints = 20'000;
    for (int i = 0; i < kPoints; ++i) {
      const double phase = 2 * M_PI * i / kPoints;
      const double x = kChi * kForce * (std::cos(phase) + wt * std::sin(phase)) / (1 + wt * wt);
      loop.push_back({kForce * std::cos(phase), x});
    }
    const double exact = M_PI * kChi * kForce * kForce * wt / (1 + wt * wt);
    EXPECT_NEAR(EnclosedArea(loop), exact, 1e-6 * exact) << wt;
    EXPECT_LE(EnclosedArea(loop), M_PI * kChi * kForce * kForce / 2 * (1 + 1e-6));
  }
}

// A relay that switches by +-x at +-H: area 4 H x. Exact.
TEST(LoopTest, OfARelayIsARectangle) {
  constexpr double kField = 1.5, kValue = 0.4;
  const std::vector<SweepPoint> round = {{-3, -kValue}, {kField, -kValue}, {kField, kValue},   {3, kValue},
                                         {3, kValue},   {-kField, kValue}, {-kField, -kValue}, {-3, -kValue}};
  EXPECT_NEAR(EnclosedArea(round), 4 * kField * kValue, 1e-12);
  std::vector<SweepPoint> up, down;
  for (int i = -3000; i <= 3000; ++i) {
    const double field = i / 1000.0;
    up.push_back({field, field >= kField ? kValue : -kValue});
    down.push_back({field, field <= -kField ? -kValue : kValue});
  }
  EXPECT_NEAR(*SignedAreaBetween(up, down), 4 * kField * kValue, 2e-3);
}

TEST(LoopTest, TrianglesOfBranchesThatCrossCancel) {
  const std::vector<SweepPoint> up = {{0, 0}, {2, 2}}, down = {{0, 1}, {2, 1}};
  EXPECT_NEAR(*SignedAreaBetween(up, down), 0, 1e-12);
  EXPECT_NEAR(*SignedAreaBetween(std::vector<SweepPoint>{{0, 0}, {2, 0}}, down), 2, 1e-12);
  EXPECT_NEAR(*SignedAreaBetween(down, std::vector<SweepPoint>{{0, 0}, {2, 0}}), -2, 1e-12);
}

TEST(LoopTest, BranchesWithoutCommonDriveHaveNoArea) {
  const std::vector<SweepPoint> up = {{0, 0}, {1, 2}}, down = {{2, 1}, {3, 1}};
  EXPECT_FALSE(SignedAreaBetween(up, down));
  EXPECT_FALSE(SignedAreaBetween(up, {}));
}

TEST(LoopTest, ADelayedLineHasTheAreaOfItsDelay) {
  constexpr double kRate = 0.5, kDelay = 2;  // each branch is shifted by 1
  const auto line = [](double x) { return 3 * x; };
  std::vector<SweepPoint> up, down;
  for (int i = 0; i <= 100; ++i) {
    up.push_back({i * 1.0, line(i - kRate * kDelay)});
    down.push_back({i * 1.0, line(i + kRate * kDelay)});
  }
  EXPECT_NEAR(*SignedAreaBetween(up, down), AreaOfDelay(kRate, kDelay, 300), 1e-9);
}

/// Parameter at which x' = x^2 + mu diverges when mu rises at a rate from below: fourth-order Runge-Kutta.
double Jump(double rate) {
  double mu = -std::pow(rate, 2.0 / 3) * 40, x = -std::sqrt(-mu);
  const double reach = 1e4 * std::pow(rate, 1.0 / 3);
  while (x < reach) {
    const double step = std::min(1e-3 * std::pow(rate, -1.0 / 3), 0.01 / std::max(std::abs(x), 1e-9));
    const auto speed = [&](double at, double time) { return at * at + mu + rate * time; };
    const double a = speed(x, 0), b = speed(x + a * step / 2, step / 2), c = speed(x + b * step / 2, step / 2);
    const double d = speed(x + c * step, step);
    x += step * (a + 2 * b + 2 * c + d) / 6;
    mu += rate * step;
  }
  return mu + rate / x;  // the remaining time to infinity is 1/x
}

// The swept saddle-node jumps late, by 2.33810741 rate^(2/3), where the factor is the first zero of the Airy function
// (M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, table 10.13): .108525 at rate 0.01, .023381 at
// 0.001. A loop between two such jumps is apparent only, and vanishes at zero rate.
TEST(LoopTest, OfASweptSaddleNodeVanishesAtRest) {
  EXPECT_NEAR(Jump(0.01), 0.108525, 5e-5);
  EXPECT_NEAR(Jump(0.001), 0.023381, 2e-5);
  const std::vector<double> rates = {0.0005, 0.001, 0.002, 0.005, 0.01};
  std::vector<double> areas;
  for (const double rate : rates) areas.push_back(2 * Jump(rate));  // both jumps are late, of height 1
  const auto rest = ExtrapolateToRest(rates, areas);
  ASSERT_TRUE(rest);
  EXPECT_NEAR(rest->at_rest, 0, 2e-4);
  EXPECT_NEAR(rest->factor, 2 * 2.33810741, 0.02);
}

TEST(LoopTest, OneRateCannotBeExtrapolated) {
  const std::vector<double> rates = {0.01, 0.01}, areas = {1, 2};
  EXPECT_FALSE(ExtrapolateToRest(rates, areas));
}

TEST(ResponseTest, OfAnExponentialIsItsTimeConstant) {
  Series series;
  for (int i = 1; i <= 1000; ++i) series.Add(10 + i * 0.1, 40 - 30 * std::exp(-i * 0.1 / 7));
  const auto time = ResponseTime(Between(series, 10, 200), 10, 10, 40);
  ASSERT_TRUE(time);
  EXPECT_NEAR(*time, 7, 0.01);
  EXPECT_FALSE(ResponseTime(Between(series, 10, 200), 10, 10, 10));
  EXPECT_FALSE(ResponseTime({}, 10, 10, 40));
}

TEST(ResponseTest, FindsTheChangeThatDoubles) {
  const std::vector<Change> changes = {{2, 1.5}, {4, 6}, {0.5, 0.8}, {0.25, 0.4}};
  const IntervalEstimate grow = ChangeNeeded(changes, 2), shrink = ChangeNeeded(changes, 0.5);
  ASSERT_TRUE(grow.value && shrink.value);
  EXPECT_NEAR(*grow.value, std::exp(std::log(2) + std::log(2) * std::log(2 / 1.5) / std::log(4)), 1e-12);
  EXPECT_DOUBLE_EQ(*grow.low, 2);
  EXPECT_DOUBLE_EQ(*grow.high, 4);
  EXPECT_GT(*shrink.value, 0.25);
  EXPECT_LT(*shrink.value, 0.5);
  EXPECT_LE(*shrink.low, *shrink.value);
  EXPECT_GE(*shrink.high, *shrink.value);
}

TEST(ResponseTest, SaysWhenNoChangeSuffices) {
  const std::vector<Change> changes = {{2, 1.5}};
  EXPECT_EQ(ChangeNeeded(changes, 2).note, "not reached in this range");
  EXPECT_EQ(ChangeNeeded(changes, 0.5).note, "no stage changes the amplitude this way");
}

}  // namespace
}  // namespace gyrebox::analysis
