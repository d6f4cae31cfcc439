/// Memory that measuring needs besides that of the bed.
#pragma once

#include <cstddef>

#include "cuda/bed_data.h"
#include "cuda/block_layout.h"
#include "cuda/team_sums.h"
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
  // Clusters. `links` and `size` lie elsewhere.
  unsigned long long* links = nullptr;  ///< see Link
  unsigned long long *sum_x = nullptr, *sum_y = nullptr, *sum_squares = nullptr;
  std::uint32_t *size = nullptr, *extent = nullptr;
  // Sums over beads.
  double* partials = nullptr;  ///< see Team::Sum
  // Waves: power by shell, spinners, and their sums by group, square and wave.
  unsigned long long* shells = nullptr;  ///< (2 kWaveShells)
  Pair32* spinners = nullptr;
  std::uint32_t *flags = nullptr, *numbers = nullptr;  ///< while the spinners are listed
  std::uint32_t* spinner_slots = nullptr;              ///< set by ListSpinners(); aliases `size`
  WaveSums* waves = nullptr;

  MeasureBlock* block = nullptr;  ///< of this block; set on the device

  std::size_t bytes = 0;  ///< without links and sizes

  MeasureMemory() = default;
  /// @param base aligned to 16 bytes; null on the host if only the size is wanted. @param stride beads, rounded up to
  /// tiles.
  /// @param links,size (beads), not used by anything else.
  GYREBOX_HD MeasureMemory(unsigned char* base, std::uint32_t stride, std::uint32_t n_spinners, void* links,
                           std::uint32_t* size)
      : links(static_cast<unsigned long long*>(links)), size(size), spinner_slots(size) {
    BlockLayout clusters(base), sums(base), listing(base);
    clusters.Take(sum_x, stride);
    clusters.Take(sum_y, stride);
    clusters.Take(sum_squares, stride);
    clusters.Take(extent, stride);
    sums.Take(partials, kMaxSums * SumNumbers(stride));
    listing.Take(shells, 2 * kWaveShells);
    listing.Take(spinners, stride);
    BlockLayout wave_sums = listing;  // once the spinners are listed
    listing.Take(flags, stride);
    listing.Take(numbers, stride + 4);  // one more than beads
    const std::size_t groups = (std::size_t{n_spinners} + kWaveGroup - 1) / kWaveGroup;
    wave_sums.Take(waves, groups * kMaxSquares * kWavesOfSquare);
    for (const std::size_t used : {clusters.used(), sums.used(), listing.used(), wave_sums.used()}) {
      bytes = used > bytes ? used : bytes;
    }
  }
};

/// Bytes of a MeasureMemory without its links and sizes.
inline std::size_t MeasureBytes(std::uint32_t stride, std::uint32_t n_spinners) {
  return MeasureMemory(nullptr, stride, n_spinners, nullptr, nullptr).bytes;
}

}  // namespace gyrebox::kernels::cuda
