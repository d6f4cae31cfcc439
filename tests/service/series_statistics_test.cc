// Statistics of autocorrelated series.
#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <vector>

#include "estimators/correlation.h"
#include "estimators/plateau.h"
#include "estimators/series.h"
#include "estimators/slope.h"
#include "estimators/statistics.h"
#include "estimators/transient.h"
#include "synthetic.h"

namespace gyrebox::analysis {
namespace {

using test::FirstOrder;
using test::Sampled;

/// Variance of the mean of n samples of FirstOrder(), exactly.
double VarianceOfMean(double phi, double n) {
  const double variance = 1 / (1 - phi * phi);
  return variance / n * ((1 + phi) / (1 - phi) - 2 * phi * (1 - std::pow(phi, n)) / (n * (1 - phi) * (1 - phi)));
}

// Autocorrelations of a first-order process are phi^k, so g is (1 + phi) / (1 - phi): 3, 19, 199. Exact (G. E. P. Box
// and G. M. Jenkins, Time Series Analysis, chapter 3).
TEST(InefficiencyTest, IsThatOfAFirstOrderProcess) {
  std::mt19937_64 random(1);
  for (const double phi : {0.5, 0.9, 0.99}) {
    double mean = 0;
    for (int i = 0; i < 10; ++i) mean += Inefficiency(FirstOrder(phi, 100'000, random)) / 10;
    // The window at 2.5 g truncates exp(-5) of the sum; the rest is sampling error.
    EXPECT_NEAR(mean, test::InefficiencyOf(phi), 0.04 * test::InefficiencyOf(phi)) << phi;
  }
}

TEST(InefficiencyTest, IsOneForIndependentSamplesAndForAConstant) {
  std::mt19937_64 random(1);
  EXPECT_NEAR(Inefficiency(FirstOrder(0, 100'000, random)), 1, 0.03);
  EXPECT_EQ(Inefficiency(std::vector<double>(100, 7.0)), 1);
  EXPECT_EQ(Inefficiency(std::vector<double>{1}), 1);
  EXPECT_EQ(Inefficiency({}), 1);
}

// The exact variance of the mean of 10^4 samples in units of the process variance: .00029996, .0018982, .019702.
TEST(InefficiencyTest, GivesTheErrorOfTheMean) {
  std::mt19937_64 random(2);
  constexpr size_t n = 10'000;
  const std::pair<double, double> kCases[] = {{0.5, 0.00029996}, {0.9, 0.0018982}, {0.99, 0.019702}};
  for (const auto& [phi, published] : kCases) {
    const double variance = 1 / (1 - phi * phi);
    EXPECT_NEAR(VarianceOfMean(phi, n) / variance, published, 1e-4 * published);
    double by_blocks = 0, by_lags = 0;
    constexpr int kSeries = 100;
    for (int i = 0; i < kSeries; ++i) {
      const auto values = FirstOrder(phi, n, random);
      by_blocks += std::pow(ChooseLevel(values).standard_error, 2) / kSeries;
      by_lags += Inefficiency(values) * std::pow(Summarise(values).standard_deviation, 2) / n / kSeries;
    }
    // At phi = 0.99 a series has 100 correlation times: both estimates are then a tenth too large, on the safe side.
    EXPECT_NEAR(by_lags / variance, published, 0.15 * published) << phi;
    EXPECT_NEAR(by_blocks / variance, published, 0.15 * published) << phi;
  }
}

// H. Flyvbjerg and H. G. Petersen, J. Chem. Phys. 91, 461 (1989): m times the variance of means of m samples, over that
// of the samples, for a first-order process with phi = 0.9; exact.
TEST(BlockTest, ErrorsRiseToTheirPlateauAsPublished) {
  const double kExact[] = {1,         1.9,       3.5245,    6.185512,  9.834648, 13.568145,
                           16.190816, 17.593752, 18.296875, 18.648438, 18.824219};
  std::mt19937_64 random(4);
  const auto levels = BlockLevels(FirstOrder(0.9, size_t{1} << 22, random));
  ASSERT_GT(levels.size(), std::size(kExact));
  for (size_t k = 0; k < std::size(kExact); ++k) {
    EXPECT_EQ(levels[k].length, size_t{1} << k);
    // Variance of a variance of independent normal blocks; the shortest blocks are not independent.
    const double chance = std::sqrt(2 * std::max(1.0, 19 / std::pow(2.0, k)) / static_cast<double>(levels[k].count));
    EXPECT_NEAR(levels[k].inefficiency, kExact[k], 5 * chance * kExact[k]) << levels[k].length;
  }
}

TEST(BlockTest, ErrorOfTheErrorIsAsPublished) {
  std::mt19937_64 random(4);
  for (const BlockLevel& level : BlockLevels(FirstOrder(0.5, 1024, random))) {
    EXPECT_DOUBLE_EQ(level.error_of_the_error,
                     level.standard_error / std::sqrt(2 * (static_cast<double>(level.count) - 1)));
  }
}

TEST(BlockTest, OneSampleHasNoLevel) {
  EXPECT_TRUE(BlockLevels(std::vector<double>{1}).empty());
  EXPECT_EQ(ChooseLevel(std::vector<double>{1}).standard_error, 0);
}

// K. P. White, Simulation 69, 323 (1997), on a series with an obvious result: 100 ones, then 450 pairs of 0.1 and -0.1.
TEST(TransientTest, LeastMarginalErrorIsWhereTheStepEnds) {
  std::vector<double> values(100, 1.0);
  for (int i = 0; i < 450; ++i) values.insert(values.end(), {0.1, -0.1});
  const LeastError least = LeastMarginalError(values);
  EXPECT_EQ(least.first, 100u);
  EXPECT_NEAR(least.value, 1.111111e-5, 1e-11);
}

// J. D. Chodera, J. Chem. Theory Comput. 12, 1799 (2016): t0 = argmax (n - t0) / g(t0).
TEST(TransientTest, EndsWhereMostIndependentSamplesAreLeft) {
  std::mt19937_64 random(5);
  auto values = FirstOrder(0.5, 400, random);
  for (size_t i = 0; i < 100; ++i) values[i] += 15 * std::exp(-static_cast<double>(i) / 20);
  const size_t end = TransientEnd(values);
  double most = 0;
  for (size_t first = 0; first + 8 <= values.size(); first += values.size() / 32) {
    most = std::max(most, static_cast<double>(values.size() - first) / Inefficiency(std::span(values).subspan(first)));
  }
  EXPECT_EQ(static_cast<double>(values.size() - end) / Inefficiency(std::span(values).subspan(end)), most);
  EXPECT_GE(end, 30u);
  EXPECT_LE(end, 150u);
}

TEST(TransientTest, OfASteadySeriesIsShort) {
  std::mt19937_64 random(6);
  double mean = 0;
  for (int i = 0; i < 50; ++i) mean += static_cast<double>(TransientEnd(FirstOrder(0.5, 3000, random))) / 3000 / 50;
  EXPECT_LT(mean, 0.2);
}

/// Fraction of series of `times` integrated autocorrelation times, at phi = 0.9, whose interval holds the true mean, 0.
double CoverageOfOneSeries(double times) {
  std::mt19937_64 random(7);
  constexpr int kSets = 2000;
  const auto n = static_cast<size_t>(times * test::InefficiencyOf(0.9) / 2);
  int held = 0;
  for (int i = 0; i < kSets; ++i) {
    const Series series = Sampled(FirstOrder(0.9, n, random), 1);
    const Plateau plateau = MeasurePlateau(series, {0, 0, static_cast<double>(n), 0});
    held += std::abs(plateau.mean) <= plateau.half_width ? 1 : 0;
  }
  return static_cast<double>(held) / kSets;
}

TEST(PlateauTest, IntervalHoldsTheMeanOfASeriesOfFiftyCorrelationTimes) {
  const double coverage = CoverageOfOneSeries(50);
  EXPECT_GE(coverage, 0.92);
  EXPECT_LE(coverage, 0.98);
}

TEST(PlateauTest, IntervalHoldsTheMeanOfALongSeries) {
  const double coverage = CoverageOfOneSeries(400);
  EXPECT_GE(coverage, 0.92);
  EXPECT_LE(coverage, 0.98);
}

TEST(PlateauTest, SaysWhenASeriesIsTooShort) {
  std::mt19937_64 random(8);
  const Plateau whole = MeasurePlateau(Sampled(FirstOrder(0.9, 5000, random), 0.5), {0, 0, 2500, 0});
  EXPECT_FALSE(whole.too_short());
  EXPECT_NEAR(whole.correlation_time, 19.0 / 2 * 0.5, 1);
  EXPECT_TRUE(MeasurePlateau(Sampled(FirstOrder(0.9, 200, random), 0.5), {0, 0, 100, 0}).too_short());
}

TEST(PlateauTest, OfNothingIsEmpty) {
  EXPECT_EQ(MeasurePlateau({}, {0, 0, 1, 0}).count, 0u);
  EXPECT_TRUE(std::isnan(PlateauMean({}, {0, 0, 1, 0})));
}

TEST(PlateauTest, KeepsTheSampleOnItsEdge) {
  EXPECT_LE(PlateauStart(60, 0.5), 30);
  EXPECT_GT(PlateauStart(60, 0.5), 29.999);
  EXPECT_LE(PlateauStart(60, 1), 0);
}

TEST(PlateauTest, MeanIsThatOfWholePeriods) {
  Series series;
  for (int i = 0; i <= 80; ++i) series.Add(i / 8.0, 5 + std::sin(2 * M_PI * i / 8.0 + 1));
  EXPECT_NEAR(PlateauMean(series, {0, 5, 10, 1}), 5, 1e-12);
  EXPECT_EQ(PlateauMean(series, {0, 5, 10, 1}), MeasurePlateau(series, {0, 5, 10, 1}).mean);
}

/// Coverage of the interval of a mean from the variance between independent realizations, and from that of frames. Each
/// realization has its own offset and a correlated series of fifty correlation times.
struct Coverage {
  double by_trials = 0, by_frames = 0;
};

Coverage CoverageOverTrials(int trials) {
  std::mt19937_64 random(9);
  std::normal_distribution<double> offset(0, 5);
  constexpr int kSets = 2000;
  const auto n = static_cast<size_t>(50 * test::InefficiencyOf(0.8) / 2);
  Coverage coverage;
  for (int i = 0; i < kSets; ++i) {
    std::vector<double> plateaus, frames;
    for (int k = 0; k < trials; ++k) {
      const double own = offset(random);
      auto values = FirstOrder(0.8, n, random);
      for (double& value : values) value += own;
      frames.insert(frames.end(), values.begin(), values.end());
      plateaus.push_back(PlateauMean(Sampled(std::move(values), 1), {0, 0, static_cast<double>(n), 0}));
    }
    const Summary by_trials = Summarise(plateaus), by_frames = Summarise(frames);
    coverage.by_trials += std::abs(by_trials.mean) <= by_trials.confidence_half_width ? 1.0 / kSets : 0;
    coverage.by_frames += std::abs(by_frames.mean) <= by_frames.confidence_half_width ? 1.0 / kSets : 0;
  }
  return coverage;
}

// Common practice: the independent realization is the unit of replication.
TEST(CoverageTest, OfTheIntervalOverRealizations) {
  for (const int trials : {3, 5, 8, 12}) {
    const Coverage coverage = CoverageOverTrials(trials);
    EXPECT_GE(coverage.by_trials, 0.92) << trials;
    EXPECT_LE(coverage.by_trials, 0.98) << trials;
    EXPECT_LT(coverage.by_frames, 0.5) << trials;
  }
}

TEST(SlopeTest, OfAnExactLineIsItsSlope) {
  const std::vector<double> x = {0, 1, 2, 5}, y = {1, 3, 5, 11};
  const Slope slope = FitLine(x, y);
  EXPECT_NEAR(slope.value, 2, 1e-12);
  EXPECT_NEAR(slope.mean_y - slope.value * slope.mean_x, 1, 1e-12);
  EXPECT_LT(slope.HalfWidth(0.95), 1e-6);
}

TEST(SlopeTest, TwoPointsTellNothing) {
  const std::vector<double> x = {0, 1}, y = {1, 3};
  EXPECT_EQ(FitLine(x, y).PValue(), 1);
}

/// Fraction of series of 100 correlation times that are called drifting if they grow by `growth` in all.
double CalledDrifting(double growth) {
  std::mt19937_64 random(10);
  constexpr int kSets = 2000;
  const auto n = static_cast<size_t>(100 * test::InefficiencyOf(0.8) / 2);
  int called = 0;
  for (int i = 0; i < kSets; ++i) {
    auto values = FirstOrder(0.8, n, random);
    for (size_t k = 0; k < n; ++k) values[k] += growth * static_cast<double>(k) / static_cast<double>(n);
    called += MeasurePlateau(Sampled(std::move(values), 1), {0, 0, static_cast<double>(n), 0}).drifts() ? 1 : 0;
  }
  return static_cast<double>(called) / kSets;
}

TEST(SlopeTest, AnArrestedSizeIsSeldomCalledGrowing) { EXPECT_LT(CalledDrifting(0), 0.08); }

TEST(SlopeTest, ASlowlyGrowingOneMostlyIs) { EXPECT_GT(CalledDrifting(3), 0.9); }

TEST(PeriodTest, MeansExcludeTheOscillationWithinAPeriod) {
  Series series;
  for (int i = 0; i <= 80; ++i) series.Add(i / 8.0, 2 + std::sin(2 * M_PI * i / 8.0));
  const Series means = PeriodMeans(Between(series, 0, 10), 1);
  ASSERT_EQ(means.size(), 10u);
  for (size_t k = 0; k < means.size(); ++k) {
    EXPECT_NEAR(means.values[k], 2, 1e-12);
    EXPECT_NEAR(means.times[k], static_cast<double>(k) + 0.5, 1e-12);
  }
}

TEST(PeriodTest, FewSamplesPerPeriodStayUnchanged) {
  Series series;
  for (int i = 0; i < 20; ++i) series.Add(i * 9 / 8.0, i);
  EXPECT_EQ(PeriodMeans(Between(series, 0, 100), 1).size(), series.size());
  EXPECT_EQ(PeriodMeans(Between(series, 0, 100), 0).size(), series.size());
}

TEST(PhaseTest, ResolvesThePeakToPeakAmplitude) {
  Series series;
  for (int i = 0; i < 160; ++i) series.Add(i / 8.0, 5 + std::cos(2 * M_PI * i / 8.0));
  const PhaseProfile profile = ResolvePhase(Between(series, 0, 100), 1, 8);
  ASSERT_EQ(profile.means.size(), 8u);
  for (int k = 0; k < 8; ++k) EXPECT_NEAR(profile.means[k], 5 + std::cos(2 * M_PI * k / 8.0), 1e-12);
  EXPECT_NEAR(profile.swing, 2, 1e-12);
}

TEST(PhaseTest, OfNothingHasNoPeakToPeakAmplitude) { EXPECT_TRUE(std::isnan(ResolvePhase({}, 1, 8).swing)); }

}  // namespace
}  // namespace gyrebox::analysis
