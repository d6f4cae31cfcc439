/// The data of a bead that its neighbours read, in half a cache line.
#pragma once

#include <cstdint>

namespace gyrebox::kernels {

struct alignas(32) BeadRecord {
  std::uint32_t x, y;   ///< position, fixed point
  float vx, vy;         ///< velocity of the last step, sigma/tau
  float spin;           ///< rad/tau: of the last step, or imposed for the coming step where the rate is driven
  std::uint32_t id;     ///< the bead's constant index, from 0
  std::uint32_t kind;   ///< kPassive or kSpinner
  std::uint32_t angle;  ///< turned so far, as a fraction of a turn
};
static_assert(sizeof(BeadRecord) == 32);

inline constexpr std::uint32_t kPassive = 0;
inline constexpr std::uint32_t kSpinner = 1;
/// No bead is of this kind.
inline constexpr std::uint32_t kNoKind = 2;

/// Beads are padded to a multiple of this, a multiple of every SIMD width.
inline constexpr int kPadding = 16;

}  // namespace gyrebox::kernels
