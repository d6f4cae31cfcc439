/// Initial state of a bed: positions at time 0, and which beads are spinners.
#pragma once

#include <atomic>
#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

struct StartState {
  std::vector<std::uint32_t> x, y;    ///< (beads) fixed-point positions by bead id
  std::vector<std::uint32_t> angle;   ///< (beads) turned so far, fraction of a turn
  std::vector<std::uint8_t> spinner;  ///< (beads) 1 for a spinner
  std::string failure;                ///< empty, or why the requested start was not reached
};

/// Generates the initial state of a bed, or returns the one generated ahead. Depends on the spec and its position seed
/// alone.
/// @param give_up see Separate().
StartState GenerateInitialState(const RunSpec& spec, const std::atomic<bool>* give_up = nullptr);

/// Ids of the spinners, ascending.
std::vector<std::uint32_t> SpinnerIds(const StartState& start);

/// Columns and rows of a lattice of n beads, columns * rows = n.
struct LatticeShape {
  std::int64_t columns = 0, rows = 0;
};
/// The shape of a triangular or square lattice nearest to an aspect ratio (side y over side x). A triangular one has an
/// even number of rows. @return {0, 0} if n admits no such lattice.
LatticeShape ShapeOfLattice(StartSpec::Arrangement arrangement, std::int64_t n_beads, double aspect_ratio);
/// Height of a row over the width of a column of the perfect lattice: sqrt(3)/2 or 1.
double RowHeight(StartSpec::Arrangement arrangement);

}  // namespace gyrebox::kernels
