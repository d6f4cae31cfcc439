/// The beads of a saved state in physical units.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"

namespace gyrebox::kernels {

/// Beads in the order of their ids. @param side_x,side_y of the state's bed, sigma.
std::vector<Bead> BeadsIn(const BedState& state, double side_x, double side_y);

}  // namespace gyrebox::kernels
