/// How far the partner lists of a bed reach.
#pragma once

#include <algorithm>

#include "gyrebox/run_spec.h"
#include "neighbors/skin.h"

namespace gyrebox::kernels {

/// Sigma, for every backend. Bonds are among what is looked up in lists.
inline double ListReach(const RunSpec& spec) {
  return std::max({spec.force.cutoff, spec.friction.cutoff, spec.measure.bond_length}) + kSkin;
}

}  // namespace gyrebox::kernels
