// Statistics of independent values against published tables and certified data.
#include "estimators/statistics.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "estimators/bootstrap.h"
#include "estimators/effect.h"
#include "nist_data.h"
#include "synthetic.h"

namespace gyrebox::analysis {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2, 0.975 column, with one more digit.
TEST(StudentTest, AgreesWithTheTable) {
  const std::pair<double, double> kTable[] = {{1, 12.7062}, {2, 4.3027},  {3, 3.1824},  {4, 2.7764},  {5, 2.5706},
                                              {9, 2.2622},  {10, 2.2281}, {19, 2.0930}, {30, 2.0423}, {120, 1.9799}};
  for (const auto& [degrees, t] : kTable) EXPECT_NEAR(StudentT(0.975, degrees), t, 5e-5) << degrees;
}

// JCGM 100:2008 (GUM), table G.2, column of 95.45 %.
TEST(StudentTest, AgreesWithTheCoverageFactorsOfTheGum) {
  const std::pair<double, double> kTable[] = {{1, 13.97}, {2, 4.53},  {3, 3.31}, {5, 2.65},
                                              {10, 2.28}, {20, 2.13}, {50, 2.05}};
  for (const auto& [degrees, k] : kTable) EXPECT_NEAR(StudentT((1 + 0.9545) / 2, degrees), k, 0.005) << degrees;
}

TEST(StudentTest, PValueIsConsistentWithTheQuantile) {
  EXPECT_NEAR(TwoSidedPValue(StudentT(0.975, 7.5), 7.5), 0.05, 1e-12);
  EXPECT_NEAR(TwoSidedPValue(-StudentT(0.95, 3), 3), 0.10, 1e-12);
}

TEST(SummaryTest, OfThreeValues) {
  const std::vector<double> values = {1, 2, 6};
  const Summary summary = Summarise(values);
  EXPECT_EQ(summary.count, 3u);
  EXPECT_DOUBLE_EQ(summary.mean, 3);
  EXPECT_NEAR(summary.standard_deviation, 2.6457513, 1e-7);                          // sqrt(14 / 2)
  EXPECT_NEAR(summary.confidence_half_width, 4.3027 * 2.6457513 / 1.7320508, 1e-3);  // t s / sqrt(n)
  EXPECT_EQ(summary.smallest, 1);
  EXPECT_EQ(summary.largest, 6);
}

TEST(SummaryTest, OfOneValueHasNoSpread) {
  const std::vector<double> values = {5};
  const Summary summary = Summarise(values);
  EXPECT_EQ(summary.count, 1u);
  EXPECT_EQ(summary.mean, 5);
  EXPECT_EQ(summary.standard_deviation, 0);
  EXPECT_EQ(summary.confidence_half_width, 0);
}

TEST(SummaryTest, OfNothingIsEmpty) { EXPECT_EQ(Summarise({}).count, 0u); }

// NIST Statistical Reference Datasets, univariate, certified values.
TEST(ReferenceDataTest, AgreeWithTheirCertifiedValues) {
  const struct {
    const std::vector<double>& data;
    double mean, deviation, lag_one;
  } kSets[] = {{test::nist::kLew, -177.435, 277.332168044316, -0.307304800605679},
               {test::nist::kLottery, 518.958715596330, 291.699727470969, -0.120948622967393},
               {test::nist::kMavro, 2.001856, 0.000429123454003053, 0.937989183438248},
               {test::nist::kMichelson, 299.8524, 0.0790105478190518, 0.535199668621283}};
  for (const auto& set : kSets) {
    const Summary summary = Summarise(set.data);
    EXPECT_NEAR(summary.mean, set.mean, 1e-13 * std::abs(set.mean));
    EXPECT_NEAR(summary.standard_deviation, set.deviation, 1e-11 * set.deviation);
    EXPECT_NEAR(LagOneCorrelation(set.data), set.lag_one, 1e-10);
  }
}

// NumAcc4 of the same collection: 10000000.2, then 10000000.1 and 10000000.3 alternating, 1001 values. A difference of
// large sums of squares loses the spread entirely. Certified values from memory; the spread of the doubles nearest to
// these decimals differs from 0.1 by a relative 1e-8.
TEST(ReferenceDataTest, SpreadSurvivesAMeanAMillionTimesAsLarge) {
  Moments moments;
  std::vector<double> values = {10000000.2};
  for (int i = 0; i < 500; ++i) values.insert(values.end(), {10000000.1, 10000000.3});
  for (const double value : values) moments.Add(value);
  EXPECT_EQ(moments.count(), 1001u);
  EXPECT_NEAR(moments.mean(), 10000000.2, 2e-9);
  EXPECT_NEAR(std::sqrt(moments.Variance()), 0.1, 2e-9);
  EXPECT_NEAR(LagOneCorrelation(values), -0.999, 1e-8);
}

// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3, data AUTO83B, t and degrees of freedom without
// equal variances; from memory, recomputed from the summaries of the groups.
TEST(WelchTest, AgreesWithTheHandbook) {
  const Summary first{.count = 249, .mean = 20.14458, .standard_deviation = 6.41470};
  const Summary second{.count = 79, .mean = 30.48101, .standard_deviation = 6.10771};
  const Difference difference = WelchDifference(first, second);
  EXPECT_NEAR(difference.value / difference.standard_error, -12.94627, 2e-5);
  EXPECT_NEAR(difference.degrees_of_freedom, 136.8750, 2e-4);
}

TEST(WelchTest, EqualGroupsHaveTheDegreesOfFreedomOfPooledOnes) {
  const std::vector<double> a = {1, 2, 3, 4}, b = {11, 12, 13, 14};
  EXPECT_NEAR(WelchDifference(a, b).degrees_of_freedom, 6, 1e-12);
}

TEST(WelchTest, OneValueAGroupTellsNothing) {
  const std::vector<double> one = {1}, two = {1, 2};
  EXPECT_TRUE(std::isinf(WelchDifference(one, two).HalfWidth(0.95)));
  EXPECT_EQ(Judge(WelchDifference(one, two), 100), Verdict::kUnclear);
}

TEST(PairedTest, RemovesWhatPairsHaveInCommon) {
  const std::vector<double> before = {10, 20, 30}, after = {11, 21.5, 31};
  const Difference difference = PairedDifference(after, before);
  EXPECT_NEAR(difference.value, 3.5 / 3, 1e-12);
  EXPECT_EQ(difference.degrees_of_freedom, 2);
  EXPECT_LT(difference.HalfWidth(0.95), 1);
}

TEST(VerdictTest, NeedsTheWholeIntervalWithinTheMargin) {
  const Difference difference{.value = 1, .standard_error = 1, .degrees_of_freedom = 10};
  const double half = 1.8125;  // t(0.95, 10), NIST/SEMATECH e-Handbook, section 1.3.6.7.2
  EXPECT_EQ(Judge(difference, 1 + half + 0.001), Verdict::kEqual);
  EXPECT_EQ(Judge(difference, 1 + half - 0.001), Verdict::kUnclear);
  EXPECT_EQ(Judge({.value = 3, .standard_error = 1, .degrees_of_freedom = 10}, 1), Verdict::kDifferent);
}

// The ideal bootstrap variance of a mean is the sum of squares over n^2, that is (n - 1) / n of s^2 / n: B. Efron and
// R. J. Tibshirani, An Introduction to the Bootstrap, 1993, section 5.3. Relative Monte Carlo error of a variance:
// sqrt(2 / draws).
TEST(BootstrapTest, HasTheIdealVarianceOfAMean) {
  const std::vector<double> values = {3, 7, 8, 12, 20};
  const Summary summary = Summarise(values);
  const double ideal = std::pow(summary.standard_deviation, 2) * 4 / 25;
  constexpr int kMany = 40'000;
  const std::vector<std::span<const double>> groups = {values};
  const Quantiles drawn = Bootstrap(
      groups, [](std::span<const double> means) { return means[0]; }, kMany);
  EXPECT_NEAR(drawn.variance, ideal, 5 * ideal * std::sqrt(2.0 / kMany));
}

TEST(BootstrapTest, IsTheSameEveryTime) {
  const std::vector<double> values = {3, 7, 8, 12, 20};
  const std::vector<std::span<const double>> groups = {values};
  const auto mean = [](std::span<const double> means) { return means[0]; };
  EXPECT_EQ(Bootstrap(groups, mean).low, Bootstrap(groups, mean).low);
}

// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.4: the 2.5 % and 97.5 % points of chi-squared with 9
// degrees of freedom are 2.700 and 19.023.
TEST(SpreadTest, HasTheIntervalOfChiSquared) {
  const std::vector<double> values = {1, 2, 3, 4, 5, 6, 7, 8, 9, 10};
  const auto spread = RelativeSpread(values);
  ASSERT_TRUE(spread);
  const double relative = 3.0276503541 / 5.5;
  EXPECT_NEAR(spread->value, relative, 1e-9);
  EXPECT_NEAR(spread->low, relative * std::sqrt(9 / 19.023), 1e-4);
  EXPECT_NEAR(spread->high, relative * std::sqrt(9 / 2.700), 1e-3);
}

TEST(EffectTest, FindsARelativeSlope) {
  std::mt19937_64 random(3);
  std::vector<CurvePoint> points;
  for (const double x : {0.0, 0.1, 0.2, 0.3}) points.push_back({x, test::Normal(50 * (1 - 0.8 * x), 1, 8, random), 0});
  const auto effect = FindEffect(points);
  ASSERT_TRUE(effect);
  EXPECT_NEAR(effect->relative_slope, -40 / 44.0, effect->relative_half_width * 1.5);
  EXPECT_LT(effect->relative_half_width, 0.2);
  EXPECT_EQ(effect->from, 0);
  EXPECT_EQ(effect->to, 0.3);
  EXPECT_NEAR(effect->difference.value, -12, 2.5);
}

TEST(EffectTest, NeedsTwoPointsThatCount) {
  const std::vector<CurvePoint> points = {{0, {1, 2}, 0}, {1, {1}, 3}};
  EXPECT_FALSE(FindEffect(points));
}

}  // namespace
}  // namespace gyrebox::analysis
