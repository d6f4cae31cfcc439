/// Distances as observables take them: in double, every operation rounded by itself, so that every machine draws the
/// line between near and far at the same bead.
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

/// The way between two fixed-point places along the shortest way round.
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
