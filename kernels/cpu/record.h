/// What a neighbour needs to know of a bead, in one half of a cache line.
#pragma once

#include <cstdint>

namespace gyrebox::kernels {

struct alignas(32) BeadRecord {
  std::uint32_t x, y;   ///< place, fixed point
  float vx, vy;         ///< velocity of the last step, sigma/tau
  float spin;           ///< rad/tau: of the last step, or imposed for the coming step where the rate is driven
  std::uint32_t id;     ///< the bead's number from 0, which never changes
  std::uint32_t kind;   ///< kPassive or kSpinner
  std::uint32_t angle;  ///< turned so far, as a fraction of a turn
};
static_assert(sizeof(BeadRecord) == 32);

inline constexpr std::uint32_t kPassive = 0;
inline constexpr std::uint32_t kSpinner = 1;
/// No bead is of this kind.
inline constexpr std::uint32_t kNoKind = 2;

/// Beads are padded to a multiple of this, so that every register width ends evenly.
inline constexpr int kPadding = 16;

}  // namespace gyrebox::kernels
