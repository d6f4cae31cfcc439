/// Waveforms: the value imposed on a spinner at an instant, from the phases of its wave.
#pragma once

#include "gyrebox/run_spec.h"
#include "gyrebox/wave.h"
#include "model/elementary.h"

namespace gyrebox::kernels {

/// Phases as 64-bit fractions of a turn. Their meaning depends on the shape:
/// [0] the carrier; [1] the modulation, or the progress of a chirp's sweep; kSum: one per term.
struct Phases {
  std::uint64_t turn[WaveSpec::kMaxTerms] = {};
};

/// Converts a number of turns, such as the advance of a phase, to a 64-bit fraction of a turn. Whole turns drop out.
GYREBOX_HD std::uint64_t TurnFraction(double turns) {
  const double fraction = turns - std::floor(turns);
  return static_cast<std::uint64_t>(fraction * 0x1p53) << 11;
}
/// A phase as a number in [0, 1).
GYREBOX_HD double TurnValue(std::uint64_t turn) { return static_cast<double>(turn >> 11) * 0x1p-53; }

GYREBOX_HD double CosTurn(std::uint64_t turn) { return SinTurn(turn + (std::uint64_t{1} << 62)); }

/// Advances the phases by a time, in tau, with every frequency multiplied by `pace`.
GYREBOX_HD void AdvancePhases(const WaveSpec& wave, double time, double pace, Phases& phases) {
  const double scaled = time * pace;
  switch (wave.shape) {
    case WaveSpec::Shape::kSteady:
      break;
    case WaveSpec::Shape::kSine:
    case WaveSpec::Shape::kSquare:
    case WaveSpec::Shape::kTriangle:
      phases.turn[0] += TurnFraction(wave.frequency * scaled);
      break;
    case WaveSpec::Shape::kChirp: {
      // The frequency at the midpoint of the interval makes the phase exact within a sweep.
      const double sweep_turns = scaled / wave.sweep_time;
      const double progress = TurnValue(phases.turn[1] + TurnFraction(sweep_turns / 2));
      phases.turn[0] += TurnFraction((wave.frequency + (wave.last_frequency - wave.frequency) * progress) * scaled);
      phases.turn[1] += TurnFraction(sweep_turns);
      break;
    }
    case WaveSpec::Shape::kAm:
    case WaveSpec::Shape::kFm:
      phases.turn[0] += TurnFraction(wave.frequency * scaled);
      phases.turn[1] += TurnFraction(wave.modulation_frequency * scaled);
      break;
    case WaveSpec::Shape::kSum:
      for (int k = 0; k < wave.n_terms; ++k) phases.turn[k] += TurnFraction(wave.term_frequencies[k] * scaled);
      break;
  }
}

/// Value of a wave at its phases, in units of its amplitude.
GYREBOX_HD double WaveValue(const WaveSpec& wave, const Phases& phases) {
  const std::uint64_t turn = phases.turn[0];
  switch (wave.shape) {
    case WaveSpec::Shape::kSteady:
      return 1;
    case WaveSpec::Shape::kSine:
    case WaveSpec::Shape::kChirp:
      return SinTurn(turn);
    case WaveSpec::Shape::kSquare:
      return turn >> 63 == 0 ? 1 : -1;
    case WaveSpec::Shape::kTriangle: {
      const double value = TurnValue(turn);
      return value < 0.25 ? 4 * value : (value < 0.75 ? 2 - 4 * value : 4 * value - 4);
    }
    case WaveSpec::Shape::kAm:
      return (1 + wave.depth * CosTurn(phases.turn[1])) * SinTurn(turn);
    case WaveSpec::Shape::kFm: {
      const double turns = wave.index * SinTurn(phases.turn[1]) * 0.15915494309189533577;
      const double fraction = turns - std::floor(turns);
      return SinTurn(turn + (static_cast<std::uint64_t>(fraction * 0x1p53) << 11));
    }
    case WaveSpec::Shape::kSum: {
      double sum = 0;
      for (int k = 0; k < wave.n_terms; ++k) sum += wave.term_weights[k] * SinTurn(phases.turn[k]);
      return sum;
    }
  }
  return 0;
}

}  // namespace gyrebox::kernels
