/// Mean square displacement of each kind, and mean spin of passive beads.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/pairs/distance.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// NaN where there are no such beads.
struct Transport {
  double msd_spinner = 0;   ///< sigma^2; mean square displacement since step 0 relative to the centre of all beads
  double msd_passive = 0;   ///< sigma^2
  double passive_spin = 0;  ///< rad/tau; mean over passive beads
};

Transport MeasureTransport(const Snapshot& snapshot);

/// From sums: squares by kind, passive first; spins of passive beads; beads by kind.
Transport TransportOf(const double (&squares)[2], double passive_spin, const std::int64_t (&count)[2]);

/// Square of a path relative to that of the centre of all beads, both in quanta; sigma^2.
GYREBOX_HD double SquareOfPath(std::int64_t x, std::int64_t y, double centre_x, double centre_y, double quantum_x,
                               double quantum_y) {
  return SumOfSquares((static_cast<double>(x) - centre_x) * quantum_x, (static_cast<double>(y) - centre_y) * quantum_y);
}

/// Columns of a Transport.
std::vector<Column> TransportColumns();
/// Appends the values in the order of TransportColumns().
void AppendTo(const Transport& transport, std::vector<double>& values);

}  // namespace gyrebox::kernels
