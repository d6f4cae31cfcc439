/// Histogram of the distances from a bead to a range of others. Compiled for a SIMD instruction set.
#pragma once

#include <cstdint>

#include "measure/pairs/distance_bins.h"

namespace gyrebox::kernels {

/// Positions contiguous in memory.
struct PositionRow {
  static constexpr int kPadding = 8;               ///< elements past the last position that may be read
  const std::uint32_t *x = nullptr, *y = nullptr;  ///< (positions + padding) fixed point
  double quantum_x = 0, quantum_y = 0;             ///< sigma
};

/// Bins of a histogram: those of the pair correlation, and extra ones that spread far pairs, so that increments do not
/// serialise.
inline constexpr int kCountedBins = 1024;

/// Counts the distances from position `own` to positions `first` up to `last`, not included.
/// @param histogram (positions + padding) offset in `counts` of the histogram of a position.
void CountDistances(const PositionRow& row, std::uint32_t own, std::uint32_t first, std::uint32_t last,
                    const std::uint32_t* histogram, std::uint64_t* counts);

}  // namespace gyrebox::kernels
