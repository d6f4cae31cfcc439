/// Frames of beds, as stored and transmitted.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "gyrebox/bed_state.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::store {

/// The beads of a bed at one step, bit-exact.
struct Frame {
  int64_t step = 0;
  double time = 0;  ///< tau
  kernels::SavedBed beads;
};

/// When a frame was taken.
struct FrameStamp {
  int64_t step = 0;
  double time = 0;  ///< tau
};

/// Positions and angles as stored: all x, all y, all angles, each a little-endian 32-bit number. They are not
/// compressed, as they look like random noise.
std::string ToFrameBytes(const kernels::SavedBed& beads);

/// Unpacks stored positions and angles into a bed of `bead_count` beads. DATA_LOSS if the length does not match.
absl::Status FromFrameBytes(const std::string& bytes, size_t bead_count, kernels::SavedBed* beads);

}  // namespace gyrebox::store
