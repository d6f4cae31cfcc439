// How often intervals hold the truth: sizes are lognormal, and points share their starts. The bounds are 92 to 98 % for
// intervals of 95 %; sets of points that can be an extreme hold it at least as often.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <random>

#include "estimators/log_means.h"
#include "shared_starts.h"

namespace gyrebox::analysis {
namespace {

using test::CurveWithOnset;
using test::DrawStudy;
using test::TruePoint;

constexpr int kSets = 2000;
const std::vector<double> kMedians = {6.5, 6.5, 7, 8, 30, 45, 60, 50};
constexpr double kOnsetLevel = 1.5 * 6.5;
const std::vector<TruePoint> kCurve = CurveWithOnset(kMedians, kOnsetLevel);

/// Fraction of studies for which `holds` is true.
double Fraction(const std::vector<TruePoint>& curve, size_t starts,
                const std::function<double(const std::vector<CurvePoint>&)>& holds) {
  std::mt19937_64 random(21);
  double sum = 0;
  for (int i = 0; i < kSets; ++i) sum += holds(DrawStudy(curve, starts, random));
  return sum / kSets;
}

std::vector<Sample> LogsOfAll(const std::vector<CurvePoint>& study) {
  std::vector<Sample> logs;
  for (const CurvePoint& point : study) logs.push_back(LogsOf(point));
  return logs;
}

class Coverage : public testing::TestWithParam<size_t> {
 protected:
  void Expect(const char* what, double fraction, double least, double most) {
    std::printf("coverage, %zu starts, %s: %.1f %%\n", GetParam(), what, 100 * fraction);
    EXPECT_GE(fraction, least) << what;
    EXPECT_LE(fraction, most) << what;
  }
};

TEST_P(Coverage, OfTheMeansOfACurve) {
  Expect("mean of a point",
         Fraction(kCurve, GetParam(),
                  [](const auto& study) {
                    const auto means = MeansOf(LogsOfAll(study));
                    double held = 0;
                    for (size_t i = 0; i < means.size(); ++i) {
                      held += std::abs(means[i].mean - std::log(kMedians[i])) <= means[i].HalfWidth(0.95);
                    }
                    return held / static_cast<double>(means.size());
                  }),
         0.92, 0.98);
}

TEST_P(Coverage, OfDifferencesFromAPoint) {
  Expect("difference of two points",
         Fraction(kCurve, GetParam(),
                  [](const auto& study) {
                    const auto logs = LogsOfAll(study);
                    const auto differences = DifferencesFrom(logs, logs[0]);
                    double held = 0;
                    for (size_t i = 1; i < differences.size(); ++i) {
                      const double truth = std::log(kMedians[i] / kMedians[0]);
                      held += std::abs(differences[i].mean - truth) <= differences[i].HalfWidth(0.95);
                    }
                    return held / static_cast<double>(differences.size() - 1);
                  }),
         0.92, 0.98);
}

TEST_P(Coverage, OfTheOnset) {
  // On the line from 8 at x = 16 to 30 at x = 20.
  const double truth = 16 + 4 * (kOnsetLevel - 8) / (30 - 8);
  Expect("onset",
         Fraction(kCurve, GetParam(),
                  [&](const auto& study) {
                    const auto onset = FindOnset(study, study.front(), 1.5);
                    return onset.low.value_or(-1e9) <= truth && truth <= onset.high.value_or(1e9) ? 1.0 : 0.0;
                  }),
         0.92, 1);
}

TEST_P(Coverage, OfTheLargest) {
  Expect("position of the largest",
         Fraction(kCurve, GetParam(),
                  [](const auto& study) {
                    const auto largest = FindLargest(study)->estimate;
                    return largest.low.value_or(-1e9) <= 28 && 28 <= largest.high.value_or(1e9) ? 1.0 : 0.0;
                  }),
         0.92, 1);
  Expect("size of the largest",
         Fraction(kCurve, GetParam(),
                  [](const auto& study) {
                    const auto largest = FindLargest(study);
                    const size_t i = static_cast<size_t>(*largest->estimate.value / 4) - 1;
                    return std::abs(largest->mean.mean - std::log(kMedians[i])) <= largest->half_width ? 1.0 : 0.0;
                  }),
         0.92, 1);
}

TEST_P(Coverage, OfTheMostReproduciblePoint) {
  auto curve = kCurve;
  curve[6].deviation = 0.15;
  Expect("most reproducible point",
         Fraction(curve, GetParam(),
                  [](const auto& study) {
                    const auto window = FindBestWindow(study, kOnsetLevel);
                    return window->estimate.low <= 28 && 28 <= window->estimate.high ? 1.0 : 0.0;
                  }),
         0.92, 1);
}

INSTANTIATE_TEST_SUITE_P(From3, Coverage, testing::Values(3, 4, 8));

}  // namespace
}  // namespace gyrebox::analysis
