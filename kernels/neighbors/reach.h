/// Reach of a bed's partner lists.
#pragma once

#include <algorithm>

#include "gyrebox/run_spec.h"
#include "neighbors/skin.h"

namespace gyrebox::kernels {

/// In sigma, the same for every backend. Includes the bond length, because bonds are found from the lists.
inline double ListReach(const RunSpec& spec) {
  return std::max({spec.force.cutoff, spec.friction.cutoff, spec.measure.bond_length}) + kSkin;
}

}  // namespace gyrebox::kernels
