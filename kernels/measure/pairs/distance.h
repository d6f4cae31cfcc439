/// Distances for observables: in double, with every operation rounded separately, so that every device applies a
/// distance limit to the same beads.
#pragma once

#include "model/real.h"

namespace gyrebox::kernels {

/// a^2 + b^2.
GYREBOX_HD double SumOfSquares(double a, double b) {
#if defined(__CUDA_ARCH__)
  return __dadd_rn(__dmul_rn(a, a), __dmul_rn(b, b));
#else
  return a * a + b * b;  // contraction is off here
#endif
}

/// Nearest-image vector between two fixed-point positions.
struct Way {
  double dx, dy;   ///< sigma
  double squared;  ///< sigma^2
};
GYREBOX_HD Way WayBetween(std::uint32_t from_x, std::uint32_t from_y, std::uint32_t to_x, std::uint32_t to_y,
                          double quantum_x, double quantum_y) {
  const double dx = AsSigned(to_x - from_x) * quantum_x, dy = AsSigned(to_y - from_y) * quantum_y;
  return {dx, dy, SumOfSquares(dx, dy)};
}

}  // namespace gyrebox::kernels
