/// Sums over clusters, from which the summary is computed.
#pragma once

#include <bit>
#include <cmath>

#include "model/real.h"

namespace gyrebox::kernels {

/// Classes of the histogram of sizes: 1, 2-3, 4-7, ...; the last one has no upper end.
inline constexpr int kSizeClasses = 24;

/// Clusters smaller than this form and break with every neighbour: the polydispersity excludes them.
inline constexpr unsigned long long kSpreadFrom = 5;

/// Radii are summed in integer multiples of this, sigma.
inline constexpr double kRadiusQuantum = 0x1p-24;

/// Number of significant bits.
GYREBOX_HD int BitWidth(unsigned long long value) {
#if defined(__CUDA_ARCH__)
  return 64 - __clzll(static_cast<long long>(value));
#else
  return std::bit_width(value);
#endif
}

/// Sums over clusters: exact, so independent of their order.
struct ClusterSums {
  unsigned long long count = 0, wrapping = 0;  ///< clusters; those that wrap
  unsigned long long beads = 0, squares = 0;   ///< of sizes
  unsigned long long spread_count = 0, spread_beads = 0,
                     spread_squares = 0;  ///< the same for clusters of kSpreadFrom or more
  unsigned long long radius_quanta = 0,
                     radius_beads = 0;  ///< size times radius in quanta, and size, of clusters with a radius
  unsigned long long largest = 0;
  unsigned long long histogram[kSizeClasses] = {};

  GYREBOX_HD static int ClassOf(unsigned long long size) {
    const int size_class = BitWidth(size) - 1;
    return size_class < kSizeClasses ? size_class : kSizeClasses - 1;
  }

  /// Adds a cluster to all sums but the histogram. @param radius sigma; ignored for single beads and wrapping clusters.
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
