/// Scratch memory of Team::Sum().
#pragma once

#include <cstddef>
#include <cstdint>

#include "cuda/bed_data.h"

namespace gyrebox::kernels::cuda {

/// Max number of sums in one Team::Sum().
inline constexpr int kMaxSums = 5;

/// Scratch numbers of team.Sum<K>() for n beads, per term.
GYREBOX_HD std::size_t SumNumbers(std::uint32_t n) {
  const std::size_t tiles = (n + kTile - 1) / kTile;
  return 2 * (tiles + (tiles + 1023) / 1024);
}

}  // namespace gyrebox::kernels::cuda
