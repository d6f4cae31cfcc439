/// Memory that measuring needs besides that of the bed.
#pragma once

#include <algorithm>
#include <cstddef>

#include "cuda/bed_data.h"
#include "cuda/health.h"
#include "measure/pairs/pair_correlation.h"
#include "measure/structure_factor/spectral_power.h"

namespace gyrebox::kernels::cuda {

/// The waves (n, m) with n, m >= 0 are processed in squares of this size along each axis.
inline constexpr int kWaveSquare = 4;
inline constexpr int kWavesOfSquare = kWaveSquare * kWaveSquare;
inline constexpr int kSquaresAlong = (kWaveShells + kWaveSquare) / kWaveSquare;
/// Number of squares with a wave within the shells in a square bed; other beds have fewer.
inline constexpr int kMaxSquares = [] {
  int squares = 0;
  for (int a = 0; a < kSquaresAlong; ++a) {
    for (int b = 0; b < kSquaresAlong; ++b) {
      const double n = kWaveSquare * a, m = kWaveSquare * b;
      squares += n * n + m * m <= WaveGrid::kLimit * WaveGrid::kLimit ? 1 : 0;
    }
  }
  return squares;
}();
/// Beads whose waves are summed in single precision, and those of them whose phases are stored at a time.
inline constexpr std::uint32_t kWaveGroup = 2048, kWaveTile = 4;

/// For a wave (n, m): sums over beads of the products of cos or sin of n x with cos or sin of m y. Together they give
/// the waves (n, m) and (n, -m).
struct alignas(16) WaveSums {
  float cc, cs, sc, ss;
};

/// cos and sin of a few consecutive multiples of a phase.
struct WavePhases {
  struct alignas(16) Four {
    float at[kWaveSquare];
  };
  Four cosine, sine;
};
/// A block's memory for waves: the phases n x and m y of each bead of two tiles, and the first square of each row.
struct WaveBlock {
  WavePhases x[2][kWaveTile][kSquaresAlong], y[2][kWaveTile][kSquaresAlong];
  int first_of_row[kSquaresAlong + 1];
};

/// Scratch memory of each block, preferably in the shared memory of its multiprocessor.
union MeasureBlock {
  std::uint32_t histogram[3 * kDistanceBins];
  WaveBlock waves;
};

/// Memory of a team. The groups of arrays below alias; each is valid in its own pass only.
struct MeasureMemory {
  // Clusters: 28 bytes per bead, and 12 that may lie elsewhere, in `links` and `size`.
  unsigned long long* links = nullptr;  ///< see Link
  unsigned long long *sum_x = nullptr, *sum_y = nullptr, *sum_squares = nullptr;
  std::uint32_t *size = nullptr, *extent = nullptr;
  // Sums over beads.
  double* partials = nullptr;
  // Waves: power by shell, spinners, and their sums by group, square and wave.
  unsigned long long* shells = nullptr;  ///< (2 kWaveShells)
  Pair32* spinners = nullptr;
  std::uint32_t *flags = nullptr, *numbers = nullptr;
  std::uint32_t* spinner_slots = nullptr;  ///< set by ListSpinners(); aliases `size`
  WaveSums* waves = nullptr;

  MeasureBlock* block = nullptr;  ///< of this block; set on the device

  MeasureMemory() = default;
  /// @param base aligned to 16 bytes; MeasureBytes() long. @param links,size (beads), not used by anything else.
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

/// Scratch numbers of team.Sum<K>() for n beads, per term.
GYREBOX_HD std::size_t SumNumbers(std::uint32_t n) {
  const std::size_t tiles = (n + kTile - 1) / kTile;
  return 2 * (tiles + (tiles + 1023) / 1024);
}
/// Bytes of a MeasureMemory without its links and sizes. @param stride beads, rounded up to tiles.
inline std::size_t MeasureBytes(std::uint32_t stride, std::uint32_t n_spinners) {
  const std::size_t clusters = std::size_t{28} * stride;
  const std::size_t sums = kMaxSums * SumNumbers(stride) * sizeof(double);
  const std::size_t groups = (std::size_t{n_spinners} + kWaveGroup - 1) / kWaveGroup;
  const std::size_t list = 2 * kWaveShells * sizeof(unsigned long long) + stride * sizeof(Pair32);
  const std::size_t waves = list + groups * kMaxSquares * kWavesOfSquare * sizeof(WaveSums);
  const std::size_t listing = list + std::size_t{8} * stride + 16;
  return std::max({clusters, sums, waves, listing});
}
}  // namespace gyrebox::kernels::cuda
