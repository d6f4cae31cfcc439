/// Frequencies and peak of a wave.
#pragma once

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// Highest frequency in a wave, cycles/tau: what a time step must resolve. 0 for a steady one.
inline double HighestFrequency(const WaveSpec& wave) {
  switch (wave.shape) {
    case WaveSpec::Shape::kSteady:
      return 0;
    case WaveSpec::Shape::kSine:
    case WaveSpec::Shape::kSquare:
    case WaveSpec::Shape::kTriangle:
      return wave.frequency;
    case WaveSpec::Shape::kChirp:
      return wave.frequency > wave.last_frequency ? wave.frequency : wave.last_frequency;
    case WaveSpec::Shape::kAm:
      return wave.frequency + wave.modulation_frequency;
    case WaveSpec::Shape::kFm:  // Carson's rule
      return wave.frequency + (wave.index + 1) * wave.modulation_frequency;
    case WaveSpec::Shape::kSum: {
      double highest = 0;
      for (int k = 0; k < wave.n_terms; ++k) {
        if (wave.term_frequencies[k] > highest) highest = wave.term_frequencies[k];
      }
      return highest;
    }
  }
  return 0;
}

/// Largest possible value of a wave, relative to its amplitude.
inline double PeakFactor(const WaveSpec& wave) {
  if (wave.shape == WaveSpec::Shape::kAm) return 1 + wave.depth;
  if (wave.shape != WaveSpec::Shape::kSum) return 1;
  double weights = 0;
  for (int k = 0; k < wave.n_terms; ++k)
    weights += wave.term_weights[k] < 0 ? -wave.term_weights[k] : wave.term_weights[k];
  return weights;
}

/// Truncation of the normal deviates of disorder, in standard deviations; see DisorderSpec.
inline constexpr double kWidestSpread = 3;

/// Longest period of a wave, tau: that of its lowest frequency. 0 for a steady one.
inline double SlowestPeriod(const WaveSpec& wave) {
  switch (wave.shape) {
    case WaveSpec::Shape::kSteady:
      return 0;
    case WaveSpec::Shape::kChirp:
      return wave.sweep_time;
    case WaveSpec::Shape::kAm:
    case WaveSpec::Shape::kFm:
      return 1 / (wave.modulation_frequency < wave.frequency ? wave.modulation_frequency : wave.frequency);
    case WaveSpec::Shape::kSum: {
      double lowest = 0;
      for (int k = 0; k < wave.n_terms; ++k) {
        if (lowest == 0 || wave.term_frequencies[k] < lowest) lowest = wave.term_frequencies[k];
      }
      return lowest > 0 ? 1 / lowest : 0;
    }
    default:
      return 1 / wave.frequency;
  }
}

}  // namespace gyrebox::kernels
