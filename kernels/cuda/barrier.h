/// A barrier for the blocks of a team, in one number in memory, initially 0.
#pragma once

#include <cstdint>

#include "model/real.h"

namespace gyrebox::kernels::cuda {

inline constexpr std::uint32_t kBarrierBit = 0x80000000u;

/// Number that a block adds on arrival. The sum over all blocks is the top bit alone, so the number serves any count of
/// barriers. (The scheme of cooperative groups, from memory.) @param blocks 1 to 2^31 - 1.
GYREBOX_HD std::uint32_t Arrival(std::uint32_t block, std::uint32_t blocks) {
  return block == 0 ? kBarrierBit - (blocks - 1) : 1u;
}

/// Whether all blocks have arrived. @param before the number before a block's addition. @param now the current number.
GYREBOX_HD bool HaveArrived(std::uint32_t before, std::uint32_t now) { return ((before ^ now) & kBarrierBit) != 0; }

}  // namespace gyrebox::kernels::cuda
