/// Pictures of beds, as they are kept and handed on.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "gyrebox/bed_state.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::store {

/// The beads of a bed at one moment, to the last bit.
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

/// Places and angles as they are stored: all x, all y, all angles, each a little-endian number of 32 bits. They are as
/// random as noise: packing them would save nothing.
std::string ToFrameBytes(const kernels::SavedBed& beads);

/// Puts stored places and angles into a bed of so many beads. DATA_LOSS where the bytes are not of that many.
absl::Status FromFrameBytes(const std::string& bytes, size_t bead_count, kernels::SavedBed* beads);

}  // namespace gyrebox::store
