#include "model/noise.h"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <vector>

namespace gyrebox::kernels {
namespace {

constexpr int kNumbers = 1000000;
// Five standard errors: a sound generator exceeds a bound once in two million.
const double kFiveErrors = 5 / std::sqrt(kNumbers);

using NumberOf = std::function<double(std::uint32_t)>;

double Mean(const NumberOf& of) {
  double sum = 0;
  for (std::uint32_t i = 0; i < kNumbers; ++i) sum += of(i);
  return sum / kNumbers;
}

// Exact: a uniform of mean 0 and variance 1 has a fourth moment of 9/5 and an eighth of 9.
void ExpectUniformOfUnitVariance(const NumberOf& of) {
  EXPECT_NEAR(Mean(of), 0, kFiveErrors);
  EXPECT_NEAR(Mean([&](auto i) { return std::pow(of(i), 2); }), 1, kFiveErrors * std::sqrt(9.0 / 5 - 1));
  EXPECT_NEAR(Mean([&](auto i) { return std::pow(of(i), 4); }), 9.0 / 5, kFiveErrors * std::sqrt(9 - 81.0 / 25));
}

void ExpectUncorrelated(const NumberOf& a, const NumberOf& b) {
  EXPECT_NEAR(Mean([&](auto i) { return a(i) * b(i); }), 0, kFiveErrors);
}

const StepKeys kKeys = KeysOfStep(7, 123);

NumberOf Along(StepKeys keys, std::uint32_t partner) {
  return [=](std::uint32_t i) { return NoiseOfPair<double>(keys, i, partner).along; };
}
NumberOf Across(StepKeys keys, std::uint32_t partner) {
  return [=](std::uint32_t i) { return NoiseOfPair<double>(keys, i, partner).across; };
}
NumberOf BeadX(StepKeys keys) {
  return [=](std::uint32_t i) { return NoiseOfBead<double>(keys, i).x; };
}
NumberOf BeadY(StepKeys keys) {
  return [=](std::uint32_t i) { return NoiseOfBead<double>(keys, i).y; };
}
NumberOf BeadSpin(StepKeys keys) {
  return [=](std::uint32_t i) { return NoiseOfBead<double>(keys, i).spin; };
}

constexpr std::uint32_t kFar = 2000000;  // an id beyond the range tested exhaustively

TEST(Noise, IsTheSameFromEitherBeadOfAPair) {
  for (std::uint32_t i = 0; i < 1000; ++i) {
    const std::uint32_t j = i * 2654435761u;
    const auto one = NoiseOfPair<double>(kKeys, i, j), other = NoiseOfPair<double>(kKeys, j, i);
    ASSERT_EQ(one.along, other.along);
    ASSERT_EQ(one.across, other.across);
  }
}

TEST(Noise, OfPairsIsUniformOfUnitVariance) {
  ExpectUniformOfUnitVariance(Along(kKeys, kFar));
  ExpectUniformOfUnitVariance(Across(kKeys, kFar));
}

TEST(Noise, OfBeadsIsUniformOfUnitVariance) {
  ExpectUniformOfUnitVariance(BeadX(kKeys));
  ExpectUniformOfUnitVariance(BeadY(kKeys));
  ExpectUniformOfUnitVariance(BeadSpin(kKeys));
}

TEST(Noise, OfOnePairOverStepsIsUniformOfUnitVariance) {
  ExpectUniformOfUnitVariance(
      [](std::uint32_t step) { return NoiseOfPair<double>(KeysOfStep(1, step), 3u, 8u).along; });
  ExpectUniformOfUnitVariance([](std::uint32_t step) { return NoiseOfBead<double>(KeysOfStep(1, step), 3u).x; });
}

TEST(Noise, ComponentsAreUncorrelated) {
  ExpectUncorrelated(Along(kKeys, kFar), Across(kKeys, kFar));
  ExpectUncorrelated(BeadX(kKeys), BeadY(kKeys));
  ExpectUncorrelated(BeadY(kKeys), BeadSpin(kKeys));
  ExpectUncorrelated(BeadX(kKeys), Along(kKeys, kFar));
}

TEST(Noise, PairsThatShareABeadAreUncorrelated) {
  ExpectUncorrelated(Along(kKeys, kFar), Along(kKeys, kFar + 1));
  ExpectUncorrelated(Across(kKeys, kFar), Across(kKeys, kFar + 1));
}

TEST(Noise, StepsAndSeedsAreUncorrelated) {
  for (const StepKeys other : {KeysOfStep(7, 124), KeysOfStep(8, 123), KeysOfStep(123, 7)}) {
    ExpectUncorrelated(Along(kKeys, kFar), Along(other, kFar));
    ExpectUncorrelated(BeadX(kKeys), BeadX(other));
  }
}

TEST(Noise, OfOneBeadIsUncorrelatedFromStepToStep) {
  const auto x = [](std::uint32_t step) { return NoiseOfBead<double>(KeysOfStep(1, step), 3u).x; };
  ExpectUncorrelated(x, [&](std::uint32_t step) { return x(step + 1); });
}

TEST(Noise, StreamsOfASeedDiffer) {
  const auto uniform = [](Stream stream, std::uint32_t part) {
    return [=](std::uint32_t i) { return (UniformOf(5, stream, i, part) - 0.5) * std::sqrt(12.0); };
  };
  ExpectUniformOfUnitVariance(uniform(Stream::kPositions, 0));
  ExpectUncorrelated(uniform(Stream::kPositions, 0), uniform(Stream::kPositions, 1));
  ExpectUncorrelated(uniform(Stream::kPositions, 0), uniform(Stream::kLabels, 0));
  ExpectUncorrelated(uniform(Stream::kPositions, 0), uniform(Stream::kDisorder, 0));
}

TEST(Noise, UniformStaysBelowOne) {
  for (std::uint64_t i = 0; i < 100000; ++i) {
    const double u = UniformOf(3, Stream::kPositions, i, 0);
    ASSERT_GE(u, 0);
    ASSERT_LT(u, 1);
  }
}

}  // namespace
}  // namespace gyrebox::kernels
