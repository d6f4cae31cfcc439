/// Assignment of random numbers to steps, beads and pairs. Layout version 1; checkpoints record it.
///
/// Thermal numbers are uniform with mean 0 and variance 1: the dynamics depend only on their second moments (Dünweg &
/// Paul, Int. J. Mod. Phys. C 2, 817 (1991), doi:10.1142/S0129183191001037).
#pragma once

#include "model/philox.h"

namespace gyrebox::kernels {

inline constexpr int kNoiseLayout = 1;
/// The fewest rounds that are Crush-resistant (Salmon et al., table 2).
inline constexpr int kNoiseRounds = 7;

/// Random streams; no two share numbers.
enum class Stream : std::uint32_t { kThermal = 1, kPositions = 2, kLabels = 3, kDisorder = 4 };

/// Keys of the thermal numbers of one step, the same for every bead and pair.
struct StepKeys {
  std::uint32_t pair_key, pair_salt;
  std::uint32_t bead_key, bead_salt;
};

GYREBOX_HD StepKeys KeysOfStep(std::uint64_t seed, std::uint64_t step) {
  const Words4<std::uint32_t> words =
      Philox4x32<10>(Words4<std::uint32_t>{static_cast<std::uint32_t>(step), static_cast<std::uint32_t>(step >> 32),
                                           static_cast<std::uint32_t>(Stream::kThermal), 0u},
                     Words2<std::uint32_t>{static_cast<std::uint32_t>(seed), static_cast<std::uint32_t>(seed >> 32)});
  return {words.a, words.b, words.c, words.d};
}

/// Uniform on [-sqrt 3, sqrt 3): mean 0, variance 1.
template <class R, class U>
GYREBOX_HD R UnitVariance(U word) {
  return ToReal<R>(AsSigned(word)) * R(1.7320508075688772 / 2147483648.0);
}

/// Random numbers of a pair: one along the line of centres, one across it. Identical from either bead.
template <class R>
struct PairNoise {
  R along, across;
};
template <class R, class U>
GYREBOX_HD PairNoise<R> NoiseOfPair(const StepKeys& keys, U id, U other_id) {
  const auto swap = other_id < id;
  const U low = Select(swap, other_id, id);
  const U high = Select(swap, id, other_id);
  const Words2<U> words = Philox2x32<kNoiseRounds>(Words2<U>{low, high ^ U(keys.pair_salt)}, U(keys.pair_key));
  return {UnitVariance<R>(words.a), UnitVariance<R>(words.b)};
}

/// Random numbers of a bead: two for its velocity, one for its spin.
template <class R>
struct BeadNoise {
  R x, y, spin;
};
template <class R, class U>
GYREBOX_HD BeadNoise<R> NoiseOfBead(const StepKeys& keys, U id) {
  const Words4<U> words =
      Philox4x32<kNoiseRounds>(Words4<U>{id, U(0u), U(0u), U(0u)}, Words2<U>{U(keys.bead_key), U(keys.bead_salt)});
  return {UnitVariance<R>(words.a), UnitVariance<R>(words.b), UnitVariance<R>(words.c)};
}

/// Uniform on [0, 1) with 53 bits, for initial states and disorder: number `index` of a stream of a seed.
GYREBOX_HD double UniformOf(std::uint64_t seed, Stream stream, std::uint64_t index, std::uint32_t part) {
  const Words4<std::uint32_t> words =
      Philox4x32<10>(Words4<std::uint32_t>{static_cast<std::uint32_t>(index), static_cast<std::uint32_t>(index >> 32),
                                           static_cast<std::uint32_t>(stream), part},
                     Words2<std::uint32_t>{static_cast<std::uint32_t>(seed), static_cast<std::uint32_t>(seed >> 32)});
  const std::uint64_t bits = (static_cast<std::uint64_t>(words.a) << 32 | words.b) >> 11;
  return static_cast<double>(bits) * 0x1p-53;
}

}  // namespace gyrebox::kernels
