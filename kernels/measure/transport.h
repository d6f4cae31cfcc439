/// How far beads of each kind have come, and how passive beads turn.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// NaN where there are no such beads.
struct Transport {
  double spinner_square = 0;  ///< sigma^2; mean square displacement since step 0, less that of the centre of all beads
  double passive_square = 0;  ///< sigma^2
  double passive_spin = 0;    ///< rad/tau; mean over passive beads
};

Transport MeasureTransport(const Snapshot& snapshot);

/// Columns of a Transport.
std::vector<Column> TransportColumns();
/// Appends the values in the order of TransportColumns().
void AppendTo(const Transport& transport, std::vector<double>& values);

}  // namespace gyrebox::kernels
