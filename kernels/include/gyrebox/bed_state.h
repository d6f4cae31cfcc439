/// A bed as it stands between two steps: all that a run needs to go on with the same bits. Arrays are by bead number.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

struct BedState {
  std::int64_t step = 0;
  std::int32_t halvings = 0;                    ///< the time step in use is the run's over 2^halvings
  bool lists_valid = false;                     ///< the lists made at built_x, built_y still serve
  bool has_past = false;                        ///< vx, vy, spin are of a step that the next one may carry on
  std::vector<std::uint32_t> x, y;              ///< (beads) fixed-point places
  std::vector<std::uint32_t> built_x, built_y;  ///< (beads) places when the partner lists were made
  std::vector<std::int64_t> path_x, path_y;  ///< (beads) path without the periodic wrap up to built_x, built_y, quanta
  std::vector<float> remainder_x, remainder_y;  ///< (beads) quanta
  /// (beads) motion of the last step: the solver's warm start. Brownian: without noise.
  std::vector<float> vx, vy, spin;
  /// (beads) lagged of second order: motion that neighbours expect of a bead in the coming step; else empty.
  std::vector<float> expected_vx, expected_vy, expected_spin;
  /// (beads) there too: the part of the motion of the last step that noise made, which is in none of the above.
  std::vector<float> thermal_vx, thermal_vy, thermal_spin;
  std::vector<std::uint32_t> angle;   ///< (beads) turned so far, fraction of a turn
  std::vector<std::uint8_t> kind;     ///< (beads) 1 for a spinner
  std::vector<std::uint64_t> phases;  ///< drive: 4 for the common wave, then 4 for each spinner where they differ
  std::vector<std::uint32_t> turns;   ///< drive: periods passed by each spinner, where they differ
};

/// The beads of a state, for another bed to start from. @param side_x,side_y of the state's bed, sigma.
SavedBed BeadsOf(const BedState& state, double side_x, double side_y);

/// A fixed-point place in sigma, 0 <= place < side.
double PlaceOf(std::uint32_t fixed, double side);
/// A fraction of a turn in rad, 0 <= angle < 2 pi.
double AngleOf(std::uint32_t fraction);

/// A state as bytes: little-endian, versioned, the same on every device.
std::vector<std::byte> ToBytes(const BedState& state);
/// Throws std::runtime_error with the reason where the bytes are no whole state of this version.
BedState FromBytes(std::span<const std::byte> bytes);

}  // namespace gyrebox::kernels
