/// Extremes that a substep is judged by.
#pragma once

#include <cstdint>

#include "model/real.h"

/// A pass over a bed: device code, and host code where no device compiler reads it (see lone_team.h).
#if defined(__CUDACC__)
#define GYREBOX_PASS __device__ __forceinline__
/// The same where it is rarely run, and its registers are not to burden the rest.
#define GYREBOX_RARE __device__ __noinline__
#else
#define GYREBOX_PASS inline
#define GYREBOX_RARE inline
#endif

namespace gyrebox::kernels::cuda {

/// Sums that Team::Sum() takes at once at most.
inline constexpr int kMostSums = 5;

/// Bits of a float that is not negative: they have the order of the numbers.
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

/// Extremes over the beads of a bed, as bits that only grow. All bits zero where nothing was met.
struct HealthSlot {
  std::uint32_t nearness = 0;  ///< complement of the ordered bits of the smallest squared distance, sigma^2
  std::uint32_t move = 0;      ///< ordered bits of the largest squared move, sigma^2
  std::uint32_t drift = 0;     ///< of the largest squared way since the lists were made, after the move

  /// Smallest squared distance of all pairs in reach; 1e30 where there was none.
  GYREBOX_HD float closest_squared() const { return nearness == 0 ? 1e30f : FromBits(~nearness); }
};

/// Gathers the extremes of the beads of one thread.
struct HealthOfThread {
  float closest = 1e30f, move = 0, drift = 0;

  GYREBOX_HD HealthSlot Slot() const {
    return {closest < 1e30f ? ~OrderedBits(closest) : 0, OrderedBits(move), OrderedBits(drift)};
  }
};

}  // namespace gyrebox::kernels::cuda
