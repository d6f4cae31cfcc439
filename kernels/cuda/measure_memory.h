/// Memory that measuring needs beside that of the bed.
#pragma once

#include <algorithm>
#include <cstddef>

#include "cuda/bed_data.h"
#include "cuda/health.h"
#include "measure/pair_correlation.h"
#include "measure/waves.h"

namespace gyrebox::kernels::cuda {

/// The waves (n, m) with n, m >= 0 are dealt with in squares of this many by as many.
inline constexpr int kWaveSquare = 4;
inline constexpr int kWavesOfSquare = kWaveSquare * kWaveSquare;
inline constexpr int kSquaresAlong = (kWaveShells + kWaveSquare) / kWaveSquare;
/// Squares of a square bed that hold a wave within the shells; other beds have fewer.
inline constexpr int kMostSquares = [] {
  int squares = 0;
  for (int a = 0; a < kSquaresAlong; ++a) {
    for (int b = 0; b < kSquaresAlong; ++b) {
      const double n = kWaveSquare * a, m = kWaveSquare * b;
      squares += n * n + m * m <= WaveGrid::kLimit * WaveGrid::kLimit ? 1 : 0;
    }
  }
  return squares;
}();
/// Beads whose waves are added up in single precision, and those of them whose phases are at hand at a time.
inline constexpr std::uint32_t kWaveGroup = 2048, kWaveTile = 4;

/// For a wave (n, m), the sums over beads of the products of cos or sin of the phase n x with those of m y. Between
/// them they hold the waves (n, m) and (n, -m).
struct alignas(16) WaveSums {
  float cc, cs, sc, ss;
};

/// cos and sin of a few multiples in a row of a phase.
struct WavePhases {
  struct alignas(16) Four {
    float at[kWaveSquare];
  };
  Four cosine, sine;
};
/// What a block needs for its waves: for two tiles of beads the phases n x and m y of each, and which square is the
/// first one of each row.
struct WaveBlock {
  WavePhases x[2][kWaveTile][kSquaresAlong], y[2][kWaveTile][kSquaresAlong];
  int first_of_row[kSquaresAlong + 1];
};

/// Memory of each block for itself, best in the shared memory of its multiprocessor; nothing in it is kept.
union MeasureBlock {
  std::uint32_t histogram[3 * kDistanceBins];
  WaveBlock waves;
};

/// Memory of a team. One purpose at a time: what is written under one heading is gone under the next.
struct MeasureMemory {
  // Clusters: 28 bytes a bead, and 12 that may lie elsewhere, in `links` and `size`.
  unsigned long long* links = nullptr;  ///< see Link
  unsigned long long *sum_x = nullptr, *sum_y = nullptr, *sum_squares = nullptr;
  std::uint32_t *size = nullptr, *extent = nullptr;
  // Sums over beads.
  double* partials = nullptr;
  // Waves: the power by shell, the spinners, and their sums by group, square and wave.
  unsigned long long* shells = nullptr;  ///< (2 kWaveShells)
  Pair32* spinners = nullptr;
  std::uint32_t *flags = nullptr, *numbers = nullptr;
  std::uint32_t* spinner_slots = nullptr;  ///< set by ListSpinners(); takes the place of `size`
  WaveSums* waves = nullptr;

  MeasureBlock* block = nullptr;  ///< of the own block: set on the device

  MeasureMemory() = default;
  /// @param base aligned to 16 bytes; MeasureBytes() from there on. @param links,size (beads), kept by nobody else.
  GYREBOX_HD MeasureMemory(void* base, std::uint32_t stride, void* links, std::uint32_t* size)
      : links(static_cast<unsigned long long*>(links)), size(size), spinner_slots(size) {
    sum_x = static_cast<unsigned long long*>(base);
    sum_y = sum_x + stride;
    sum_squares = sum_y + stride;
    extent = reinterpret_cast<std::uint32_t*>(sum_squares + stride);
    partials = static_cast<double*>(base);
    shells = static_cast<unsigned long long*>(base);
    spinners = reinterpret_cast<Pair32*>(shells + 2 * kWaveShells);
    flags = reinterpret_cast<std::uint32_t*>(spinners + stride);
    numbers = flags + stride;
    waves = reinterpret_cast<WaveSums*>(flags);  // once the spinners are listed
  }
};

/// Numbers that team.Sum<K>() needs for n beads, for each of its K terms.
GYREBOX_HD std::size_t SumNumbers(std::uint32_t n) {
  const std::size_t tiles = (n + kTile - 1) / kTile;
  return 2 * (tiles + (tiles + 1023) / 1024);
}
/// Bytes of a MeasureMemory but for its links and sizes. @param stride beads, rounded up to tiles.
inline std::size_t MeasureBytes(std::uint32_t stride, std::uint32_t n_spinners) {
  const std::size_t clusters = std::size_t{28} * stride;
  const std::size_t sums = kMostSums * SumNumbers(stride) * sizeof(double);
  const std::size_t groups = (std::size_t{n_spinners} + kWaveGroup - 1) / kWaveGroup;
  const std::size_t list = 2 * kWaveShells * sizeof(unsigned long long) + stride * sizeof(Pair32);
  const std::size_t waves = list + groups * kMostSquares * kWavesOfSquare * sizeof(WaveSums);
  const std::size_t listing = list + std::size_t{8} * stride + 16;
  return std::max({clusters, sums, waves, listing});
}
}  // namespace gyrebox::kernels::cuda
