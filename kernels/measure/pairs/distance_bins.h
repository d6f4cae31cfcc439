/// Distance bins of the pair correlation.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

inline constexpr int kDistanceBins = 200;
inline constexpr double kDistanceBin = 0.02;  ///< sigma

/// Number of bins that lie entirely within half the shorter side. @param shorter_side sigma.
GYREBOX_HD int BinsWithin(double shorter_side) {
  return static_cast<int>(Min(shorter_side / 2 / kDistanceBin, static_cast<double>(kDistanceBins)));
}

/// Bin of a squared distance, sigma^2, which must not be far beyond the last bin.
GYREBOX_HD int DistanceBinOf(double squared) { return static_cast<int>(Sqrt(squared) * (1 / kDistanceBin)); }

}  // namespace gyrebox::kernels
