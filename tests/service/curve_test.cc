// Estimates from synthetic curves whose true values are known.
#include "estimators/curve.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

#include "synthetic.h"

namespace gyrebox::analysis {
namespace {

using Curve = std::function<double(double)>;

/// Draws a curve with a relative spread between realizations.
std::vector<CurvePoint> Draw(const Curve& curve, const std::vector<double>& positions, size_t trials, double spread,
                             std::mt19937_64& random) {
  std::vector<CurvePoint> points;
  for (const double x : positions) points.push_back({x, test::LogNormal(curve(x), spread, trials, random), 0});
  return points;
}

/// Flat at 6.5 up to 12, then rising by 2 per unit: crosses 9.75 at 13.625.
double Rising(double x) { return x < 12 ? 6.5 : 6.5 + 2 * (x - 12); }
constexpr double kTrueOnset = 12 + 3.25 / 2;
const std::vector<double> kGrid = {4, 8, 12, 16, 20, 24, 28, 32};

TEST(OnsetTest, LiesOnTheLineBetweenPoints) {
  const std::vector<CurvePoint> points = {{10, {6, 6}, 0}, {20, {16, 16}, 0}};
  const CurvePoint undriven = {0, {6, 6}, 0};
  const IntervalEstimate onset = FindOnset(points, undriven, 1.5);
  ASSERT_TRUE(onset.value);
  EXPECT_DOUBLE_EQ(*onset.value, 13);
  EXPECT_NEAR(*onset.low, 13, 10.0 / 64);  // sought in steps of a 64th
  EXPECT_NEAR(*onset.high, 13, 10.0 / 64);
}

TEST(OnsetTest, FindsTheGridBracketOfAValue) {
  const std::vector<CurvePoint> points = {{30, {9}, 0}, {10, {6, 6}, 0}, {20, {16, 16}, 0}, {12, {}, 0}};
  EXPECT_EQ(BracketOf(points, 13).below, 10);
  EXPECT_EQ(BracketOf(points, 13).above, 20);
  EXPECT_EQ(BracketOf(points, 20).above, 20);
  EXPECT_EQ(BracketOf(points, 25).below, 20);
}

TEST(OnsetTest, LeavesOutUnstableAndMissingPoints) {
  std::vector<CurvePoint> points = {{10, {6, 6}, 0}, {12, {}, 0}, {14, {50}, 3}, {20, {16, 16}, 1}};
  const CurvePoint undriven = {0, {6}, 0};
  EXPECT_DOUBLE_EQ(*FindOnset(points, undriven, 1.5).value, 13);
}

TEST(OnsetTest, SaysWhereItIsNotReached) {
  const std::vector<CurvePoint> points = {{10, {6, 6}, 0}, {20, {7, 7}, 0}};
  const IntervalEstimate beyond = FindOnset(points, CurvePoint{0, {6}, 0}, 1.5);
  EXPECT_FALSE(beyond.value);
  EXPECT_EQ(beyond.note, "not reached in this range");
  EXPECT_EQ(beyond.low, 20);
  const IntervalEstimate before = FindOnset(points, CurvePoint{0, {1}, 0}, 1.5);
  EXPECT_FALSE(before.value);
  EXPECT_EQ(before.high, 10);
  EXPECT_FALSE(FindOnset({}, CurvePoint{0, {1}, 0}, 1.5).note.empty());
}

/// Fraction of sets whose interval holds the true onset.
double OnsetCoverage(size_t trials, bool trouble) {
  std::mt19937_64 random(11);
  constexpr int kSets = 2000;
  int held = 0;
  for (int i = 0; i < kSets; ++i) {
    auto points = Draw(Rising, kGrid, trials, 0.2, random);
    const CurvePoint undriven = {0, test::LogNormal(6.5, 0.1, trials, random), 0};
    if (trouble) {
      points.erase(points.begin() + 1);
      points.back().unstable_count = static_cast<int>(trials);
      points[points.size() - 2].trials.resize(1);
    }
    const IntervalEstimate onset = FindOnset(points, undriven, 1.5);
    held += onset.value && onset.low.value_or(-1e9) <= kTrueOnset && onset.high.value_or(1e9) >= kTrueOnset ? 1 : 0;
  }
  return static_cast<double>(held) / kSets;
}

TEST(OnsetTest, LiesInItsInterval) {
  for (const size_t trials : {3, 5, 12}) EXPECT_GE(OnsetCoverage(trials, false), 0.92) << trials;
}

TEST(OnsetTest, LiesInItsIntervalWherePointsAreMissingOrUnstable) { EXPECT_GE(OnsetCoverage(5, true), 0.92); }

TEST(OnsetTest, IntervalIsNarrow) {
  std::mt19937_64 random(12);
  double width = 0;
  for (int i = 0; i < 100; ++i) {
    const IntervalEstimate onset =
        FindOnset(Draw(Rising, kGrid, 12, 0.2, random), {0, test::LogNormal(6.5, 0.1, 12, random), 0}, 1.5);
    ASSERT_TRUE(onset.low && onset.high);
    width += (*onset.high - *onset.low) / 100;
  }
  EXPECT_LT(width, 4);  // one grid step
}

TEST(PeakTest, IsTheLargestMeanAndItsEquivalents) {
  std::mt19937_64 random(13);
  const Curve hill = [](double x) { return 50 - 0.3 * (x - 20) * (x - 20); };
  const auto points = Draw(hill, {8, 12, 16, 20, 24, 28}, 10, 0.05, random);
  const IntervalEstimate peak = FindLargest(points)->estimate;
  ASSERT_TRUE(peak.value && peak.low && peak.high);
  EXPECT_NEAR(*peak.value, 20, 4.1);
  EXPECT_LE(*peak.low, *peak.value);
  EXPECT_GE(*peak.high, *peak.value);
  EXPECT_GE(*peak.low, 16);
  EXPECT_TRUE(peak.note.empty());
}

TEST(PeakTest, AtTheLastStablePointMayLieBeyond) {
  const std::vector<CurvePoint> points = {{1, {5, 6}, 0}, {2, {50, 60}, 0}, {3, {200}, 2}};
  const IntervalEstimate peak = FindLargest(points)->estimate;
  EXPECT_EQ(peak.value, 2);
  EXPECT_FALSE(peak.high);
  EXPECT_EQ(peak.note, "at the last usable point: the extreme may lie beyond it");
}

TEST(StationaryRangeTest, IsWhereNeighboursAreEqual) {
  std::mt19937_64 random(14);
  const Curve saturating = [](double x) { return x < 20 ? 5 + 2.5 * x : 55; };
  const auto points = Draw(saturating, {4, 8, 12, 16, 20, 24, 28, 32}, 12, 0.1, random);
  const auto range = FindStationaryRange(points, 0.25, 10);
  ASSERT_TRUE(range);
  EXPECT_GE(range->first, 16);
  EXPECT_LE(range->first, 20);
  EXPECT_EQ(range->last, 32);
  EXPECT_NEAR(range->mean, 54, 3);
}

TEST(StationaryRangeTest, LeavesOutWhatIsBelowTheOnset) {
  const std::vector<CurvePoint> points = {{1, {6, 6.1}, 0}, {2, {6, 6.1}, 0}, {3, {50, 51}, 0}};
  EXPECT_FALSE(FindStationaryRange(points, 0.25, 9.75));
  EXPECT_TRUE(FindStationaryRange(points, 0.25, 0));
}

TEST(UnstableRangeTest, CountsPointsThatAreMostlyUnstable) {
  const std::vector<CurvePoint> points = {{1, {6, 6}, 0}, {2, {6, 6}, 1}, {3, {6}, 1}, {4, {}, 2}};
  const auto range = FindUnstableRange(points);
  ASSERT_TRUE(range);
  EXPECT_EQ(range->first, 3);
  EXPECT_EQ(range->last, 4);
  EXPECT_EQ(range->n_points, 2u);
  EXPECT_FALSE(FindUnstableRange(std::span(points).first(2)));
}

// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.3: F(0.95; 9, 9) = 3.179, for two compared points.
// Of chi-squared with 9 degrees of freedom, section 1.3.6.7.4, the points at 0.0125 and 0.9875 are 2.22 and 20.98
// (SciPy 1.10, chi2.ppf).
TEST(BestWindowTest, WidensAsFarAsAnFTestAllows) {
  const auto spread = [](double x, double deviation) {
    std::vector<double> trials;
    for (int i = 0; i < 10; ++i) trials.push_back(100 * std::exp(i % 2 == 0 ? deviation : -deviation));
    return CurvePoint{x, trials, 0};
  };
  const double just = std::sqrt(3.179);
  for (const double sign : {-1, 1}) {
    const std::vector<CurvePoint> points = {spread(3, 0.01), spread(4, 0.01 * (just + sign * 0.01))};
    const auto window = FindBestWindow(points, 0);
    ASSERT_TRUE(window);
    EXPECT_EQ(window->estimate.value, 3);
    EXPECT_EQ(window->estimate.high, sign > 0 ? 3 : 4);
    const double deviation = 0.01 * std::sqrt(10.0 / 9);
    EXPECT_NEAR(window->spread, std::sqrt(std::expm1(deviation * deviation)), 1e-12);
    EXPECT_NEAR(window->low, deviation * std::sqrt(9 / 20.98), 2e-5);
    EXPECT_NEAR(window->high, deviation * std::sqrt(9 / 2.22), 2e-4);
    EXPECT_EQ(window->n_trials, 10u);
  }
}

TEST(BestWindowTest, NeedsTwoRealizations) { EXPECT_FALSE(FindBestWindow(std::vector<CurvePoint>{{1, {5}, 0}}, 0)); }

}  // namespace
}  // namespace gyrebox::analysis
