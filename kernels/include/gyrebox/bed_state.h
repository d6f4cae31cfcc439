/// State of a bed between two steps: a run continues from it bitwise identically. Arrays are indexed by bead id.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

struct BedState {
  std::int64_t step = 0;
  std::int32_t halvings = 0;                    ///< the current time step is the run's over 2^halvings
  bool lists_valid = false;                     ///< the lists built at built_x, built_y are still valid
  bool has_past = false;                        ///< the next step may extrapolate from vx, vy, spin
  std::vector<std::uint32_t> x, y;              ///< (beads) fixed-point positions
  std::vector<std::uint32_t> built_x, built_y;  ///< (beads) positions at the last list build
  std::vector<std::int64_t> path_x, path_y;  ///< (beads) path without the periodic wrap up to built_x, built_y, quanta
  std::vector<float> remainder_x, remainder_y;  ///< (beads) quanta
  /// (beads) motion of the last step: the solver's warm start. Brownian: without noise.
  std::vector<float> vx, vy, spin;
  /// (beads) second-order lagged steps: motion extrapolated to the coming step; else empty.
  std::vector<float> expected_vx, expected_vy, expected_spin;
  /// (beads) likewise: thermal part of the motion of the last step, not included in any of the above.
  std::vector<float> thermal_vx, thermal_vy, thermal_spin;
  std::vector<std::uint32_t> angle;   ///< (beads) turned so far, fraction of a turn
  std::vector<std::uint8_t> kind;     ///< (beads) 1 for a spinner
  std::vector<std::uint64_t> phases;  ///< drive: 4 for the common wave, then 4 for each spinner where they differ
  std::vector<std::uint32_t> turns;   ///< drive: periods completed by each spinner, where they differ
};

/// The beads of a state, as a start for another bed. @param side_x,side_y of the state's bed, sigma.
SavedBed BeadsOf(const BedState& state, double side_x, double side_y);

/// A fixed-point position in sigma, 0 <= position < side.
double PositionOf(std::uint32_t fixed, double side);
/// A fraction of a turn in rad, 0 <= angle < 2 pi.
double AngleOf(std::uint32_t fraction);

/// Serialises a state: little-endian, versioned, the same on every device.
std::vector<std::byte> ToBytes(const BedState& state);
/// Throws std::runtime_error with the reason if the bytes are not a complete state of a supported version.
BedState FromBytes(std::span<const std::byte> bytes);

}  // namespace gyrebox::kernels
