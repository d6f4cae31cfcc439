/// Beds shared by several tests.
#pragma once

#include <vector>

#include "gyrebox/run_spec.h"
#include "model/fixed_point.h"
#include "reference/reference.h"
#include "start/start.h"

namespace gyrebox {

/// A random dense bed of default beads, a third of them spinners.
inline kernels::RunSpec DenseSpec(std::int64_t n_beads, double packing_fraction = 0.7) {
  kernels::RunSpec spec;
  spec.n_beads = n_beads;
  spec.n_spinners = (n_beads + 2) / 3;
  const kernels::Sides sides = kernels::FitSides(spec.start.arrangement, n_beads, packing_fraction, 1);
  spec.side_x = sides.x;
  spec.side_y = sides.y;
  return spec;
}

/// The beads of an initial state, in sigma.
inline std::vector<reference::Bead> BeadsOf(const kernels::RunSpec& spec, const kernels::StartState& start) {
  std::vector<reference::Bead> beads;
  for (std::size_t i = 0; i < start.x.size(); ++i) {
    beads.push_back({kernels::FromFixed(start.x[i], spec.side_x), kernels::FromFixed(start.y[i], spec.side_y),
                     start.spinner[i] != 0, kernels::AngleValue(start.angle[i])});
  }
  return beads;
}

}  // namespace gyrebox
