/// Sums over clusters, from which their summary is made.
#pragma once

#include <cmath>

#include "model/real.h"

namespace gyrebox::kernels {

/// Classes of the histogram of sizes: 1, 2-3, 4-7, ...; the last one has no upper end.
inline constexpr int kSizeClasses = 24;

/// Smaller clusters than this come and go with every neighbour: the spread of sizes leaves them out.
inline constexpr unsigned long long kSpreadFrom = 5;

/// Radii are summed in whole quanta of this, sigma.
inline constexpr double kRadiusQuantum = 0x1p-24;

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
    int size_class = 0;
    while (size_class < kSizeClasses - 1 && (size >> (size_class + 1)) != 0) ++size_class;
    return size_class;
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
