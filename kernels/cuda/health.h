/// Extremes by which a substep is checked.
#pragma once

#include <cstdint>

#include "model/real.h"

namespace gyrebox::kernels::cuda {

/// Bits of a non-negative float, which order like the numbers.
GYREBOX_HD std::uint32_t OrderedBits(float value) {
  std::uint32_t bits;
  __builtin_memcpy(&bits, &value, sizeof(bits));
  return bits;
}
GYREBOX_HD float FromBits(std::uint32_t bits) {
  float value;
  __builtin_memcpy(&value, &bits, sizeof(value));
  return value;
}

/// Extremes over the beads of a bed, as bits combined by maximum. All bits are zero if there was nothing to record.
struct HealthSlot {
  std::uint32_t nearness = 0;  ///< complement of the ordered bits of the smallest squared distance, sigma^2
  std::uint32_t move = 0;      ///< ordered bits of the largest squared move, sigma^2
  std::uint32_t drift = 0;     ///< of the largest squared drift since the last list build, after the move, sigma^2

  /// Smallest squared distance of all pairs within reach; 1e30 if there is none.
  GYREBOX_HD float closest_squared() const { return nearness == 0 ? 1e30f : FromBits(~nearness); }
};

/// Extremes over the beads of one thread.
struct HealthOfThread {
  float closest = 1e30f, move = 0, drift = 0;

  GYREBOX_HD HealthSlot Slot() const {
    return {closest < 1e30f ? ~OrderedBits(closest) : 0, OrderedBits(move), OrderedBits(drift)};
  }
};

}  // namespace gyrebox::kernels::cuda
