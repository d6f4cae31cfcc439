#include "model/drive.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "reference/reference.h"

namespace gyrebox::kernels {
namespace {

using Shape = WaveSpec::Shape;

// Waveforms of every shape, none with a period commensurate with the step.
std::vector<WaveSpec> Waves() {
  WaveSpec sum{.shape = Shape::kSum, .amplitude = 5, .n_terms = 2};
  sum.term_weights[0] = 1, sum.term_frequencies[0] = 0.7;
  sum.term_weights[1] = -0.4, sum.term_frequencies[1] = 1.9;
  return {
      {.shape = Shape::kSteady, .amplitude = 3.5},
      {.shape = Shape::kSine, .amplitude = 20, .frequency = 0.7},
      {.shape = Shape::kSquare, .amplitude = 2, .frequency = 0.7},
      {.shape = Shape::kTriangle, .amplitude = 4, .frequency = 0.7},
      {.shape = Shape::kChirp, .amplitude = 3, .frequency = 0.3, .last_frequency = 1.3, .sweep_time = 60},
      {.shape = Shape::kAm, .amplitude = 3, .frequency = 1.1, .depth = 0.5, .modulation_frequency = 0.13},
      {.shape = Shape::kFm, .amplitude = 3, .frequency = 1.1, .index = 2, .modulation_frequency = 0.13},
      sum,
  };
}

TEST(Wave, WithIntegratedPhasesIsItsFormulaInTime) {
  const double step = 5e-4;
  for (const WaveSpec& wave : Waves()) {
    Phases phases;
    for (int i = 0; i < 100000; ++i) {
      if (i % 997 == 0) {
        // The phases accumulate one rounding error of 2^-53 turns per step.
        EXPECT_NEAR(wave.amplitude * WaveValue(wave, phases), reference::DriveAt({{}, wave, {}}, i * step), 1e-6)
            << "shape " << static_cast<int>(wave.shape) << " step " << i;
      }
      AdvancePhases(wave, step, 1, phases);
    }
  }
}

TEST(Wave, WholeTurnsDropOut) {
  EXPECT_EQ(TurnFraction(2), 0u);
  EXPECT_EQ(TurnFraction(1.25), std::uint64_t{1} << 62);
  EXPECT_EQ(TurnFraction(-0.25), std::uint64_t{3} << 62);
}

TEST(Wave, ChangeOfFrequencyNeverJumpsThePhase) {
  for (const WaveSpec& wave : Waves()) {
    if (wave.shape == Shape::kSquare) continue;  // discontinuous by definition
    Phases phases;
    for (int i = 0; i < 1234; ++i) AdvancePhases(wave, 5e-4, 1, phases);
    const double before = WaveValue(wave, phases);
    WaveSpec other = wave;
    other.frequency = 3.3;
    other.modulation_frequency = 0.9;
    EXPECT_EQ(WaveValue(other, phases), before);
    AdvancePhases(other, 1e-6, 1, phases);
    EXPECT_NEAR(WaveValue(other, phases), before, 1e-4);
  }
}

}  // namespace
}  // namespace gyrebox::kernels
