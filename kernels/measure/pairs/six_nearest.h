/// The six nearest neighbours of a bead, and their hexatic order.
#pragma once

#include <cstdint>

#include "model/real.h"

namespace gyrebox::kernels {

inline constexpr int kNearest = 6;

/// Sum, or mean, of exp(6 i angle) over six directions.
struct Hexatic {
  double real = 0, imaginary = 0;

  /// @param dx,dy vector to a neighbour. @param squared its squared length; 0 has no direction and adds nothing.
  GYREBOX_HD void Add(double dx, double dy, double squared) {
    if (squared == 0) return;
    // The sixth power of the direction: squared, cubed, and squared again.
    const double x2 = dx * dx - dy * dy, y2 = 2 * dx * dy;
    const double x3 = x2 * dx - y2 * dy, y3 = x2 * dy + y2 * dx;
    const double inverse = 1 / (squared * squared * squared);
    real += (x3 * x3 - y3 * y3) * inverse;
    imaginary += 2 * x3 * y3 * inverse;
  }
  /// To be called once all six are added.
  GYREBOX_HD Hexatic Mean() const { return {real / kNearest, imaginary / kNearest}; }
  GYREBOX_HD double Modulus() const { return Sqrt(real * real + imaginary * imaginary); }
};

/// Whether one neighbour counts as nearer than another. The order of equidistant beads, as on a lattice, does not
/// depend on their ids.
template <class Neighbor>
GYREBOX_HD bool IsNearer(const Neighbor& a, const Neighbor& b) {
  return a.r2 != b.r2 ? a.r2 < b.r2 : (a.dx != b.dx ? a.dx < b.dx : a.dy < b.dy);
}

}  // namespace gyrebox::kernels
