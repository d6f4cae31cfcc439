/// Where beads are at time 0, and which of them are spinners.
#pragma once

#include <atomic>
#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

struct StartState {
  std::vector<std::uint32_t> x, y;    ///< (beads) fixed-point places by bead number
  std::vector<std::uint32_t> angle;   ///< (beads) turned so far, fraction of a turn
  std::vector<std::uint8_t> spinner;  ///< (beads) 1 for a spinner
  std::string failure;                ///< empty, or why the start asked for was not reached
};

/// Lays out a bed, or takes it as it was laid out ahead. A function of the spec and its seed of places alone.
/// @param give_up see Separate().
StartState LayOut(const RunSpec& spec, const std::atomic<bool>* give_up = nullptr);

/// Columns and rows of a lattice of n beads, columns * rows = n.
struct LatticeShape {
  std::int64_t columns = 0, rows = 0;
};
/// The shape of a triangular or square lattice nearest to an aspect ratio (side y over side x). A triangular one has an
/// even number of rows. @return {0, 0} where n has no such form.
LatticeShape ShapeOfLattice(StartSpec::Places places, std::int64_t n_beads, double aspect_ratio);
/// Height of a row over the width of a column of the perfect lattice: sqrt(3)/2 or 1.
double RowHeight(StartSpec::Places places);

}  // namespace gyrebox::kernels
