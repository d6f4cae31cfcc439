// Whether half the time step changes a size: rates of false and of true "moves" verdicts.
#include <gtest/gtest.h>

#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <random>
#include <vector>

#include "estimators/statistics.h"
#include "estimators/step_change.h"

namespace gyrebox::analysis {
namespace {

/// Model of synthetic sizes. Their logarithms are normal.
struct Maker {
  size_t trials = 3;     ///< realizations at the study's step
  size_t audited = 3;    ///< at half the step, from the same initial states
  size_t points = 1;     ///< audited
  double memory = 0;     ///< correlation between the two runs of an initial state
  bool unequal = false;  ///< every other point has three times the spread
  double skew = 0;       ///< if positive, logarithms are exponential
  double change = 0;     ///< of the logarithm, at half the step
  double spread = 0.15;  ///< of the logarithm, over realizations
};

constexpr int kSizes = 2;  ///< compared at each point
constexpr int kSets = 10'000;

class Sets {
 public:
  explicit Sets(const Maker& maker) : maker_(maker) {}

  /// Whether one of the sizes of a random point in a set of audited points is said to move.
  bool Moves() {
    std::vector<std::vector<StepSizes>> sizes(kSizes, std::vector<StepSizes>(maker_.points));
    for (size_t point = 0; point < maker_.points; ++point) Draw(point, &sizes);
    const size_t point = random_() % maker_.points;
    bool moves = false;
    for (const auto& of_size : sizes) {
      const auto change = CompareSteps(of_size[point], PoolLogSpread(of_size), kSizes);
      moves = moves || (change && change->moves);
    }
    return moves;
  }

  int CountMoves() {
    int count = 0;
    for (int i = 0; i < kSets; ++i) count += Moves() ? 1 : 0;
    return count;
  }

 private:
  double One() { return maker_.skew > 0 ? exponential_(random_) - 1 : normal_(random_); }

  void Draw(size_t point, std::vector<std::vector<StepSizes>>* sizes) {
    const double spread = maker_.spread * (maker_.unequal && point % 2 == 1 ? 3 : 1);
    for (size_t trial = 0; trial < maker_.trials; ++trial) {
      const double of_start = One(), anew = One();
      const double of_half = maker_.memory * of_start + std::sqrt(1 - maker_.memory * maker_.memory) * anew;
      for (auto& of_size : *sizes) {
        // The part of the noise that is independent between the sizes of one bed.
        const double own_fraction = 0.4, shared = std::sqrt(1 - own_fraction * own_fraction);
        const auto put = [&](double log, double change, std::vector<double>* to) {
          to->push_back(40 * std::exp(spread * (shared * log + own_fraction * One()) + change));
        };
        put(of_start, 0, &of_size[point].at_step);
        if (trial < maker_.audited) put(of_half, maker_.change, &of_size[point].at_half);
      }
    }
  }

  Maker maker_;
  std::mt19937_64 random_{23};
  std::normal_distribution<double> normal_;
  std::exponential_distribution<double> exponential_;
};

/// Maximum number of marks at a rate of one in 40, exceeded with a probability of 1e-4: C. J. Clopper and E. S.
/// Pearson, Biometrika 26, 404 (1934), for the exact bound.
int MostFalseMarks() { return static_cast<int>(quantile(boost::math::binomial(kSets, kFalseMarks), 1 - 1e-4)); }

TEST(StepAuditTest, MarksAtMostOneInFortyPointsThatHold) {
  for (const auto& [trials, audited] : {std::pair<size_t, size_t>(2, 2), {3, 3}, {4, 4}, {8, 4}}) {
    for (const size_t points : {1, 2, 6}) {
      for (const double memory : {0.0, 0.6, 0.95}) {
        const Maker maker{.trials = trials, .audited = audited, .points = points, .memory = memory};
        EXPECT_LE(Sets(maker).CountMoves(), MostFalseMarks()) << trials << " " << points << " " << memory;
      }
    }
  }
}

TEST(StepAuditTest, DoesSoWhereTheSpreadsOfPointsDiffer) {
  for (const size_t trials : {2, 3, 4}) {
    for (const size_t points : {2, 6}) {
      const Maker maker{.trials = trials, .audited = trials, .points = points, .unequal = true};
      EXPECT_LE(Sets(maker).CountMoves(), MostFalseMarks()) << trials << " " << points;
    }
  }
}

TEST(StepAuditTest, DoesSoWhereSizesAreSkewed) {
  for (const size_t trials : {2, 3, 4}) {
    const Maker maker{.trials = trials, .audited = trials, .skew = 1};
    EXPECT_LE(Sets(maker).CountMoves(), MostFalseMarks()) << trials;
  }
}

// The level is used up, not merely kept: Student's t is exact for normal logarithms of independent runs. The two sizes
// of one bed are correlated, so less than the full level is used.
TEST(StepAuditTest, UsesUpItsLevel) {
  const int marks = Sets({.trials = 4, .audited = 4}).CountMoves();
  EXPECT_GE(marks, static_cast<int>(quantile(boost::math::binomial(kSets, kFalseMarks / kSizes), 1e-4)));
}

// Negative control: a test that takes the spread of three realizations as known makes too many marks.
TEST(StepAuditTest, ATestThatTrustsTheSpreadOfThreeRealizationsWouldFail) {
  std::mt19937_64 random(29);
  std::normal_distribution<double> normal;
  const double bound = StudentT(1 - kFalseMarks / 2, 1e6);
  int marks = 0;
  for (int i = 0; i < kSets; ++i) {
    Moments step, half;
    for (int trial = 0; trial < 3; ++trial) {
      step.Add(normal(random));
      half.Add(normal(random));
    }
    const double error = std::sqrt((step.squares() + half.squares()) / 4 * 2 / 3);
    marks += std::abs(half.mean() - step.mean()) > bound * error ? 1 : 0;
  }
  EXPECT_GT(marks, MostFalseMarks());
}

// At packing 0.55 and amplitude 60 the number-average is 7.4 at a step of 5e-4 and 10.3 at 2.5e-5: a factor of 1.4. At
// packing 0.50 and amplitude 135 the weight-average is 10 and 29. Measured with the engine and with a second code.
TEST(StepAuditTest, FindsTheEffectOfTheStep) {
  const auto power = [](const Maker& maker) { return static_cast<double>(Sets(maker).CountMoves()) / kSets; };
  EXPECT_GT(power({.trials = 4, .audited = 4, .change = std::log(1.4)}), 0.5);
  EXPECT_GT(power({.trials = 8, .audited = 4, .change = std::log(1.4)}), 0.75);
  EXPECT_GT(power({.trials = 3, .audited = 3, .change = std::log(2.9)}), 0.95);
  EXPECT_GT(power({.trials = 2, .audited = 2, .points = 6, .change = std::log(2.9)}), 0.7);
}

TEST(StepAuditTest, TheIntervalHoldsTheChangeOfAllSizesTogether) {
  std::mt19937_64 random(31);
  std::normal_distribution<double> normal;
  int held = 0;
  for (int i = 0; i < kSets; ++i) {
    bool all = true;
    for (int k = 0; k < kSizes; ++k) {
      StepSizes sizes;
      for (int trial = 0; trial < 3; ++trial) {
        sizes.at_step.push_back(std::exp(0.2 * normal(random)));
        sizes.at_half.push_back(1.5 * std::exp(0.2 * normal(random)));
      }
      const auto change = CompareSteps(sizes, PoolLogSpread(std::vector{sizes}), kSizes);
      all = all && change->low < 0.5 && change->high > 0.5;
    }
    held += all ? 1 : 0;
  }
  const boost::math::binomial nominal(kSets, (1 - kFalseMarks / kSizes) * (1 - kFalseMarks / kSizes));
  EXPECT_GE(held, quantile(nominal, 1e-4));
  EXPECT_LE(held, quantile(nominal, 1 - 1e-4));
}

// t(0.99375, 2) = sqrt(2) p / sqrt(1 - p^2) with p = 2 x 0.99375 - 1, the closed form for two degrees of freedom: M.
// Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 1964, section 26.7.
TEST(StepAuditTest, AgreesWithAHandCalculation) {
  const StepSizes sizes{{std::exp(1.0), std::exp(1.2)}, {std::exp(3.0), std::exp(3.2)}};
  const auto change = CompareSteps(sizes, PoolLogSpread(std::vector{sizes}), 2);
  ASSERT_TRUE(change);
  const double p = 0.9875, half_width = std::sqrt(2 * p * p / (1 - p * p)) * std::sqrt(0.02);
  EXPECT_NEAR(change->change, std::exp(2.0) - 1, 1e-12);
  EXPECT_NEAR(change->low, std::exp(2 - half_width) - 1, 1e-9);
  EXPECT_NEAR(change->high, std::exp(2 + half_width) - 1, 1e-9);
  EXPECT_TRUE(change->moves);
}

TEST(StepAuditTest, NeedsBothLists) {
  EXPECT_FALSE(CompareSteps({{3, 4}, {}}, {0.1, 4}, 1));
  EXPECT_FALSE(CompareSteps({{}, {3, 4}}, {0.1, 4}, 1));
}

// Identical realizations leave no spread to test against.
TEST(StepAuditTest, NeedsASpread) { EXPECT_FALSE(CompareSteps({{3, 3}, {4, 4}}, {0, 2}, 1)); }

TEST(StepAuditTest, OnePairHasTheSpreadOfOtherPoints) {
  EXPECT_FALSE(CompareSteps({{10}, {11}}, {}, 1));
  EXPECT_FALSE(CompareSteps({{10}, {11}}, {0.1, 20}, 1)->moves);
  EXPECT_TRUE(CompareSteps({{10}, {20}}, {0.1, 20}, 1)->moves);
}

// A change counts if it is significant and exceeds the spread over realizations or 10 %.
TEST(StepAuditTest, ASmallChangeCountsWhereItIsOverTheSpread) {
  const auto change = [](double factor, double spread) {
    StepSizes sizes;
    for (int i = 0; i < 50; ++i) {
      const double log = i % 2 == 0 ? spread : -spread;
      sizes.at_step.push_back(10 * std::exp(log));
      sizes.at_half.push_back(10 * factor * std::exp(log));
    }
    return CompareSteps(sizes, PoolLogSpread(std::vector{sizes}), 1)->moves;
  };
  EXPECT_TRUE(change(1.05, 0.02));   // exceeds the spread
  EXPECT_FALSE(change(1.05, 0.08));  // significant, but below the spread and below 10 %
  EXPECT_TRUE(change(1.12, 0.2));    // exceeds 10 %
}

}  // namespace
}  // namespace gyrebox::analysis
