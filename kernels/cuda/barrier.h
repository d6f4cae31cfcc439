/// A barrier of the blocks of a team, kept in one number in memory, which is 0 at first.
#pragma once

#include <cstdint>

#include "model/real.h"

namespace gyrebox::kernels::cuda {

inline constexpr std::uint32_t kBarrierBit = 0x80000000u;

/// What a block adds on arrival. All of them together add the top bit and nothing else, so that the number serves for
/// any count of barriers. (The scheme of cooperative groups, from memory.) @param blocks 1 to 2^31 - 1.
GYREBOX_HD std::uint32_t Arrival(std::uint32_t block, std::uint32_t blocks) {
  return block == 0 ? kBarrierBit - (blocks - 1) : 1u;
}

/// Whether all blocks have arrived. @param before the number that a block added to. @param now the number at present.
GYREBOX_HD bool HaveArrived(std::uint32_t before, std::uint32_t now) { return ((before ^ now) & kBarrierBit) != 0; }

}  // namespace gyrebox::kernels::cuda
