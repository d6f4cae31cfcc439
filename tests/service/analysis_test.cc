// Statistics against published tables.
#include <gtest/gtest.h>

#include <vector>

#include "analysis/statistics.h"

namespace gyrebox::analysis {
namespace {

// NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.2, 0.975 column, to one more digit.
TEST(StudentTest, AgreesWithTheTable) {
  EXPECT_NEAR(StudentT975(1), 12.7062, 5e-5);
  EXPECT_NEAR(StudentT975(2), 4.3027, 5e-5);
  EXPECT_NEAR(StudentT975(3), 3.1824, 5e-5);
  EXPECT_NEAR(StudentT975(4), 2.7764, 5e-5);
  EXPECT_NEAR(StudentT975(9), 2.2622, 5e-5);
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

TEST(PlateauTest, KeepsTheSampleOnItsEdge) {
  EXPECT_LE(PlateauStart(60, 0.5), 30);
  EXPECT_GT(PlateauStart(60, 0.5), 29.999);
  EXPECT_LE(PlateauStart(60, 1), 0);
}

}  // namespace
}  // namespace gyrebox::analysis
