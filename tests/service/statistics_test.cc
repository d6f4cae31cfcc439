// Statistics of independent values against published tables and certified data.
#include "estimators/statistics.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

#include "estimators/effect.h"
#include "estimators/log_means.h"
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
  const LogMean first{249, 20.14458, 6.41470 / std::sqrt(249.0), 248};
  const LogMean second{79, 30.48101, 6.10771 / std::sqrt(79.0), 78};
  const LogMean difference = WelchDifference(first, second);
  EXPECT_NEAR(difference.mean / difference.standard_error, -12.94627, 2e-5);
  EXPECT_NEAR(difference.degrees_of_freedom, 136.8750, 2e-4);
}

TEST(WelchTest, EqualGroupsHaveTheDegreesOfFreedomOfPooledOnes) {
  const Sample a{{1, 2, 3, 4}, {1, 2, 3, 4}}, b{{5, 6, 7, 8}, {11, 12, 13, 14}};
  EXPECT_NEAR(DifferenceOf(a, b, {}, {}).degrees_of_freedom, 6, 1e-12);
}

TEST(WelchTest, OneValueAGroupTellsNothing) {
  const Sample one{{1}, {1}}, two{{1, 2}, {1, 2}};
  EXPECT_TRUE(std::isinf(DifferenceOf(one, two, {}, {}).HalfWidth(0.95)));
  EXPECT_EQ(DifferenceOf(one, two, {}, {}).PValue(), 1);
}

TEST(PairedTest, RemovesWhatStartsHaveInCommon) {
  const Sample before{{1, 2, 3, 5}, {10, 20, 30, 99}}, after{{1, 2, 3, 4}, {11, 21.5, 31, 0}};
  const LogMean difference = DifferenceOf(after, before, {}, {});
  EXPECT_EQ(difference.count, 3u);
  EXPECT_NEAR(difference.mean, 3.5 / 3, 1e-12);
  EXPECT_EQ(difference.degrees_of_freedom, 2);
  EXPECT_LT(difference.HalfWidth(0.95), 1);
}

/// Standard normal samples of a family, all from the same starts.
std::vector<Sample> Family(size_t points, size_t starts, double correlation) {
  std::mt19937_64 random(4);
  std::normal_distribution<double> normal;
  std::vector<double> common(starts);
  for (double& one : common) one = normal(random);
  std::vector<Sample> family(points);
  for (Sample& sample : family) {
    for (size_t k = 0; k < starts; ++k) {
      sample.starts.push_back(static_cast<int>(k));
      sample.values.push_back(std::sqrt(correlation) * common[k] + std::sqrt(1 - correlation) * normal(random));
    }
  }
  return family;
}

// G. E. P. Box, Ann. Math. Stat. 25, 290 (1954): K samples of n values have K (n - 1) degrees of freedom together if
// they are independent, and n - 1 if they are the same values.
TEST(ModeratedTest, CountsTheDegreesOfFreedomThatSamplesHaveTogether) {
  EXPECT_NEAR(Pool(Family(40, 10, 0)).most_degrees_of_freedom, 360, 40);
  EXPECT_NEAR(Pool(Family(40, 10, 1)).most_degrees_of_freedom, 9, 1e-9);
  EXPECT_NEAR(Pool(Family(40, 10, 0)).variance, 1, 4 * std::sqrt(2 / 360.0));
}

// Samples of one variance agree: little is left of the scatter of their own variances, of 3 values each.
TEST(ModeratedTest, PoolsVariancesThatAgree) {
  const auto family = Family(200, 3, 0);
  for (const LogMean& mean : MeansOf(family)) {
    EXPECT_NEAR(mean.standard_error, std::sqrt(1 / 3.0), 0.2);
    EXPECT_GT(mean.degrees_of_freedom, 20);
  }
}

TEST(ModeratedTest, KeepsVariancesThatDiffer) {
  auto family = Family(40, 30, 0);
  for (size_t i = 0; i < family.size(); i += 2) {
    for (double& value : family[i].values) value *= 10;
  }
  const auto means = MeansOf(family);
  for (size_t i = 0; i < family.size(); ++i) {
    const LogMean own = MeanOf(family[i], {});
    EXPECT_NEAR(means[i].standard_error, own.standard_error, 0.15 * own.standard_error);
  }
}

// The example of S. Holm, Scand. J. Stat. 6, 65 (1979) in the form of the definition: sorted p-values are compared with
// 0.05 / 4, 0.05 / 3, ... up to the first that is larger.
TEST(HolmTest, StopsAtTheFirstThatIsNotRejected) {
  EXPECT_EQ(HolmRejects(std::vector<double>{0.01, 0.04, 0.03, 0.005}, 0.05),
            (std::vector<bool>{true, false, false, true}));
  EXPECT_EQ(HolmRejects(std::vector<double>{0.02, 0.02, 0.02}, 0.05), (std::vector<bool>{false, false, false}));
  EXPECT_TRUE(HolmRejects({}, 0.05).empty());
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

// Each start has a level of its own, ten times the scatter: the slope and the change are those within starts.
TEST(EffectTest, LeavesOutTheLevelsOfStarts) {
  std::mt19937_64 random(3);
  const auto levels = test::LogNormal(50, 0.2, 8, random);
  std::vector<CurvePoint> points;
  for (const double x : {0.0, 0.1, 0.2, 0.3}) {
    points.push_back({x, test::LogNormal(std::exp(-0.8 * x), 0.02, 8, random), 0});
    for (size_t k = 0; k < levels.size(); ++k) points.back().trials[k] *= levels[k];
  }
  const auto effect = FindEffect(points);
  ASSERT_TRUE(effect);
  // Standard error of a slope: 0.02 / sqrt(8 * 0.05).
  EXPECT_NEAR(effect->slope.value, -0.8, 4 * 0.0316);
  EXPECT_NEAR(effect->slope.standard_error, 0.0316, 0.012);
  EXPECT_EQ(effect->slope.degrees_of_freedom, 32 - 8 - 1);
  EXPECT_EQ(effect->from, 0);
  EXPECT_EQ(effect->to, 0.3);
  EXPECT_NEAR(effect->change.mean, -0.24, 4 * 0.02 * std::sqrt(2 / 8.0));
}

TEST(EffectTest, NeedsTwoPointsThatCount) {
  const std::vector<CurvePoint> points = {{0, {1, 2}, 0}, {1, {1}, 3}};
  EXPECT_FALSE(FindEffect(points));
}

}  // namespace
}  // namespace gyrebox::analysis
