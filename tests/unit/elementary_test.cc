#include "model/elementary.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

namespace gyrebox::kernels {
namespace {

template <class R>
double WorstErrorOfExp() {
  double worst = 0;
  for (int i = -8000000; i <= 8000000; i += 7) {
    const R x = static_cast<R>(i * 1e-5);
    const double truth = std::exp(static_cast<double>(x));
    worst = std::max(worst, std::abs(static_cast<double>(Exp(x)) / truth - 1));
  }
  return worst;
}

TEST(Exp, IsThatOfTheStandardLibraryInDouble) { EXPECT_LT(WorstErrorOfExp<double>(), 1e-12); }
TEST(Exp, IsThatOfTheStandardLibraryInFloat) { EXPECT_LT(WorstErrorOfExp<float>(), 3e-7); }

TEST(Exp, HoldsItsValueBelowItsRange) {
  EXPECT_EQ(Exp(-1e9), Exp(-80.0));
  EXPECT_EQ(Exp(-1e9f), Exp(-80.0f));
  EXPECT_EQ(Exp(0.0), 1.0);
}

long double SineOf(std::uint64_t phase) {
  return std::sin(2 * std::numbers::pi_v<long double> * (static_cast<long double>(phase) * 0x1p-64L));
}

TEST(SinTurn, IsThatOfTheStandardLibrary) {
  std::mt19937_64 random(1);
  double worst = 0;
  for (int i = 0; i < 1000000; ++i) {
    const std::uint64_t phase = random();
    worst = std::max(worst, static_cast<double>(std::abs(SinTurn(phase) - SineOf(phase))));
  }
  EXPECT_LT(worst, 1e-15);
}

TEST(SinTurn, IsExactAtTheQuarters) {
  constexpr std::uint64_t kQuarter = std::uint64_t{1} << 62;
  EXPECT_EQ(SinTurn(0), 0.0);
  EXPECT_DOUBLE_EQ(SinTurn(kQuarter), 1.0);
  EXPECT_EQ(SinTurn(2 * kQuarter), 0.0);
  EXPECT_DOUBLE_EQ(SinTurn(3 * kQuarter), -1.0);
}

TEST(SinTurn, IsOddToTheBit) {
  std::mt19937_64 random(2);
  for (int i = 0; i < 100000; ++i) {
    const std::uint64_t phase = random();
    ASSERT_EQ(SinTurn(-phase), -SinTurn(phase)) << phase;
  }
}

}  // namespace
}  // namespace gyrebox::kernels
