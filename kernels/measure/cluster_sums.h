/// Sums over clusters, from which their summary is made.
#pragma once

#include <bit>
#include <cmath>

#include "model/real.h"

namespace gyrebox::kernels {

/// Classes of the histogram of sizes: 1, 2-3, 4-7, ...; the last one has no upper end.
inline constexpr int kSizeClasses = 24;

/// Smaller clusters than this come and go with every neighbour: the spread of sizes leaves them out.
inline constexpr unsigned long long kSpreadFrom = 5;

/// Radii are summed in whole quanta of this, sigma.
inline constexpr double kRadiusQuantum = 0x1p-24;

/// Binary digits of a number.
GYREBOX_HD int BitWidth(unsigned long long value) {
#if defined(__CUDA_ARCH__)
  return 64 - __clzll(static_cast<long long>(value));
#else
  return std::bit_width(value);
#endif
}

/// Exact sums over clusters in any order.
struct ClusterSums {
  unsigned long long count = 0, wrapping = 0;  ///< clusters; those that wrap
  unsigned long long beads = 0, squares = 0;   ///< of sizes
  unsigned long long spread_count = 0, spread_beads = 0,
                     spread_squares = 0;  ///< the same of clusters of kSpreadFrom or more
  unsigned long long radius_quanta = 0,
                     radius_beads = 0;  ///< size times radius in quanta, and size, of those that have one
  unsigned long long largest = 0;
  unsigned long long histogram[kSizeClasses] = {};

  GYREBOX_HD static int ClassOf(unsigned long long size) {
    const int size_class = BitWidth(size) - 1;
    return size_class < kSizeClasses ? size_class : kSizeClasses - 1;
  }

  /// All but the histogram. @param radius sigma; not used of a single bead or where the cluster wraps.
  GYREBOX_HD void AddSize(unsigned long long size, bool wraps, double radius) {
    ++count;
    beads += size;
    squares += size * size;
    if (size >= kSpreadFrom) {
      ++spread_count;
      spread_beads += size;
      spread_squares += size * size;
    }
    if (wraps) {
      ++wrapping;
    } else if (size >= 2) {
      radius_quanta += size * static_cast<unsigned long long>(llround(radius / kRadiusQuantum));
      radius_beads += size;
    }
    if (size > largest) largest = size;
  }
};

}  // namespace gyrebox::kernels
