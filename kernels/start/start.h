/// Where beads are at time 0, and which of them are spinners.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

struct StartState {
  std::vector<std::uint32_t> x, y;    ///< (beads) fixed-point places by bead number
  std::vector<std::uint8_t> spinner;  ///< (beads) 1 for a spinner
  std::string failure;                ///< empty, or why the start asked for was not reached
};

/// Lays out a bed. A function of the spec and its seed of places alone.
StartState LayOut(const RunSpec& spec);

/// Rows and columns of a triangular lattice of n beads: even rows, rows * columns = n.
/// @return {0, 0} where n has no such form.
struct LatticeShape {
  std::int64_t columns = 0, rows = 0;
};
LatticeShape TriangularShape(std::int64_t n_beads, double aspect_ratio);

}  // namespace gyrebox::kernels
