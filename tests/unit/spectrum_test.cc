// Waveforms against their spectra.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>

#include "beds.h"
#include "model/drive.h"
#include "runs.h"

namespace gyrebox {
namespace {

using kernels::WaveSpec;
using Shape = WaveSpec::Shape;
using std::numbers::pi;

// Values of a waveform over a time that holds whole periods of all its lines.
std::vector<double> ValuesOf(const WaveSpec& wave, double duration, int samples) {
  std::vector<double> values;
  kernels::Phases phases;
  for (int i = 0; i < samples; ++i) {
    values.push_back(wave.amplitude * kernels::WaveValue(wave, phases));
    kernels::AdvancePhases(wave, duration / samples, 1, phases);
  }
  return values;
}

// Complex amplitude c of the line at a frequency: the line is Re(c exp(i 2 pi f t)).
std::complex<double> Line(const std::vector<double>& values, double duration, double frequency) {
  std::complex<double> sum = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double t = duration * static_cast<double>(i) / static_cast<double>(values.size());
    sum += values[i] * std::polar(1.0, -2 * pi * frequency * t);
  }
  return 2.0 * sum / static_cast<double>(values.size());
}

double MeanSquare(const std::vector<double>& values) {
  double sum = 0;
  for (const double value : values) sum += value * value;
  return sum / static_cast<double>(values.size());
}

// Exact: lines A at f_c and m A / 2 at f_c +- f_m; mean square A^2/2 (1 + m^2/2).
TEST(Spectrum, OfAnAmplitudeModulatedWave) {
  for (const double depth : {0.0, 0.5, 1.0}) {
    const WaveSpec wave{.shape = Shape::kAm, .amplitude = 3, .frequency = 5, .depth = depth, .modulation_frequency = 1};
    const auto values = ValuesOf(wave, 1, 400);
    EXPECT_NEAR(std::abs(Line(values, 1, 5)), 3, 1e-9);
    EXPECT_NEAR(std::abs(Line(values, 1, 4)), 3 * depth / 2, 1e-9);
    EXPECT_NEAR(std::abs(Line(values, 1, 6)), 3 * depth / 2, 1e-9);
    EXPECT_NEAR(std::abs(Line(values, 1, 3)), 0, 1e-9);
    EXPECT_NEAR(MeanSquare(values), 4.5 * (1 + depth * depth / 2), 1e-9);
  }
}

// Exact: lines A J_n(beta) at f_c + n f_m (Abramowitz & Stegun, Handbook of Mathematical Functions, 9.1.42).
TEST(Spectrum, OfAFrequencyModulatedWave) {
  for (const double index : {1.0, 2.0, 2.404826}) {
    const WaveSpec wave{
        .shape = Shape::kFm, .amplitude = 3, .frequency = 20, .index = index, .modulation_frequency = 1};
    const auto values = ValuesOf(wave, 1, 4000);
    for (int n = 0; n <= 5; ++n) {
      EXPECT_NEAR(std::abs(Line(values, 1, 20 + n)), 3 * std::abs(std::cyl_bessel_j(n, index)), 1e-6);
      EXPECT_NEAR(std::abs(Line(values, 1, 20 - n)), 3 * std::abs(std::cyl_bessel_j(n, index)), 1e-6);
    }
  }
  // J_0 to J_3 at 1 (computed separately).
  const double table[] = {.765198, .440051, .114903, .019563};
  for (int n = 0; n < 4; ++n) EXPECT_NEAR(std::cyl_bessel_j(n, 1.0), table[n], 1e-6);
}

// Exact: odd harmonics 4 A / (pi n) of a square, 8 A / (pi n)^2 of a triangle wave, alternating in sign.
TEST(Spectrum, OfSquareAndTriangleWaves) {
  const auto square = ValuesOf({.shape = Shape::kSquare, .amplitude = 2, .frequency = 1}, 1, 100000);
  const auto triangle = ValuesOf({.shape = Shape::kTriangle, .amplitude = 2, .frequency = 1}, 1, 100000);
  for (int n = 1; n <= 7; ++n) {
    EXPECT_NEAR(std::abs(Line(square, 1, n)), n % 2 == 0 ? 0 : 8 / (pi * n), 1e-4) << n;
    EXPECT_NEAR(std::abs(Line(triangle, 1, n)), n % 2 == 0 ? 0 : 16 / (pi * pi * n * n), 1e-4) << n;
  }
  EXPECT_NEAR(std::abs(Line(square, 1, 1)) / std::abs(Line(square, 1, 3)), 3, 1e-3);
  EXPECT_NEAR(MeanSquare(square), 4, 1e-9);
  EXPECT_NEAR(MeanSquare(triangle), 4.0 / 3, 1e-3);
}

TEST(Spectrum, OfASumHasEachOfItsTerms) {
  WaveSpec wave{.shape = Shape::kSum, .amplitude = 2, .n_terms = 3};
  const double fractions[] = {1, -0.5, 0.25};
  const double frequencies[] = {1, 3, 7};
  for (int k = 0; k < 3; ++k) wave.term_weights[k] = fractions[k], wave.term_frequencies[k] = frequencies[k];
  const auto values = ValuesOf(wave, 1, 1000);
  for (int k = 0; k < 3; ++k) EXPECT_NEAR(std::abs(Line(values, 1, frequencies[k])), 2 * std::abs(fractions[k]), 1e-9);
  EXPECT_NEAR(std::abs(Line(values, 1, 5)), 0, 1e-9);
}

TEST(Spectrum, OfASteadyWaveIsItsMeanOnly) {
  const auto values = ValuesOf({.shape = Shape::kSteady, .amplitude = 2}, 1, 100);
  for (const double value : values) EXPECT_EQ(value, 2);
}

// Exact: a chirp from f0 to f1 makes (f0 + f1)/2 turns per sweep, and twice as many zero crossings, up and down.
TEST(Spectrum, OfAChirpHasTheTurnsOfItsMeanFrequency) {
  const WaveSpec wave{.shape = Shape::kChirp, .amplitude = 1, .frequency = 2, .last_frequency = 10, .sweep_time = 5};
  const auto values = ValuesOf(wave, 5, 100000);
  int zeros_first = 0, zeros_last = 0;
  for (std::size_t i = 1; i < values.size(); ++i) {
    if ((values[i - 1] < 0) == (values[i] < 0)) continue;
    ++(i < 50000 ? zeros_first : zeros_last);
  }
  EXPECT_NEAR(zeros_first + zeros_last, 60, 1);
  EXPECT_NEAR(zeros_first, 20, 1);  // mean frequency 4 in the first half, 8 in the second
}

// Exact: the angle of a free bead has the lines of its torque divided by zeta_r 2 pi f, so the sidebands are unequal;
// for a square torque the angle is a triangle wave of peak-to-peak amplitude A T / (2 zeta_r).
TEST(Spectrum, OfTheAngleOfADrivenBead) {
  kernels::RunSpec spec = DenseSpec(1, 0.01);
  spec.n_spinners = 1;
  spec.side_x = spec.side_y = 10;
  spec.temperature = 0;
  spec.drag.rotational = 2;
  spec.time_step = 1e-3;
  spec.n_steps = 1000;
  spec.drive.quantity = kernels::DriveSpec::Quantity::kTorque;
  const auto angles = [&](const WaveSpec& wave) {
    spec.drive.wave = wave;
    const auto device = TestDevice(1);
    const auto ensemble = device->NewEnsemble(std::vector{spec});
    std::vector<double> out;
    for (int i = 0; i < 1000; ++i) {
      out.push_back(std::remainder(ensemble->Beads(0)[0].angle, 2 * pi));
      ensemble->Advance(1);
    }
    return out;
  };
  const auto am =
      angles({.shape = Shape::kAm, .amplitude = 3, .frequency = 5, .depth = 0.5, .modulation_frequency = 1});
  EXPECT_NEAR(std::abs(Line(am, 1, 5)), 3 / (2 * 2 * pi * 5), 1e-4);
  EXPECT_NEAR(std::abs(Line(am, 1, 4)), 0.75 / (2 * 2 * pi * 4), 1e-4);
  EXPECT_NEAR(std::abs(Line(am, 1, 6)), 0.75 / (2 * 2 * pi * 6), 1e-4);
  const auto square = angles({.shape = Shape::kSquare, .amplitude = 3, .frequency = 2});
  const auto [low, high] = std::minmax_element(square.begin(), square.end());
  EXPECT_NEAR(*high - *low, 3 * 0.5 / (2 * 2), 2e-3);
}

}  // namespace
}  // namespace gyrebox
