#include "model/drive.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace gyrebox::kernels {
namespace {

using Waveform = DriveSpec::Waveform;

TEST(Drive, SteadyIsItsAmplitudeAtEveryPhase) {
  const DriveSpec drive{.waveform = Waveform::kSteady, .amplitude = 3.5};
  for (std::uint64_t phase = 0; phase < 8; ++phase) EXPECT_EQ(DriveValue(drive, phase << 61), 3.5);
}

TEST(Drive, SineFollowsItsPhase) {
  const DriveSpec drive{.waveform = Waveform::kSine, .amplitude = 20, .frequency = 0.7};
  std::uint64_t phase = 0;
  const double step = 5e-4;
  const int steps = 100000;
  for (int i = 0; i < steps; ++i) phase += PhaseAdvance(drive.frequency, step);
  // The phase gathers one rounding of 2^-53 turns a step.
  EXPECT_NEAR(DriveValue(drive, phase), 20 * std::sin(2 * std::numbers::pi * 0.7 * step * steps), 1e-6);
}

TEST(Drive, WholeTurnsDropOut) {
  EXPECT_EQ(PhaseAdvance(4, 0.5), 0u);
  EXPECT_EQ(PhaseAdvance(1.25, 1), std::uint64_t{1} << 62);
  EXPECT_EQ(PhaseAdvance(-0.25, 1), std::uint64_t{3} << 62);
}

}  // namespace
}  // namespace gyrebox::kernels
