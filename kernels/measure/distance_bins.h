/// Bins of distance of the pair correlation.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

inline constexpr int kDistanceBins = 200;
inline constexpr double kDistanceBin = 0.02;  ///< sigma

/// Bins that lie within half the shorter side as a whole. @param shorter_side sigma.
GYREBOX_HD int BinsWithin(double shorter_side) {
  return static_cast<int>(Min(shorter_side / 2 / kDistanceBin, static_cast<double>(kDistanceBins)));
}

/// Bin of a squared distance, sigma^2, that is not far beyond the last one.
GYREBOX_HD int DistanceBinOf(double squared) { return static_cast<int>(Sqrt(squared) * (1 / kDistanceBin)); }

}  // namespace gyrebox::kernels
