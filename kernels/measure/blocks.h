/// Blockwise sums over the beads of a bed. Blocks depend on the number of beads alone and are combined in order, so a
/// sum is bitwise independent of the number of threads.
#pragma once

#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>
#include <cstdint>
#include <vector>

namespace gyrebox::kernels {

inline constexpr std::uint32_t kBlockBeads = 2048;
/// Beds of at least this many beads are measured by all threads, smaller ones by one thread each.
inline constexpr std::uint32_t kSharedBeads = 8192;

/// Results of sum(first, last) for each block of beads, `last` not included, in order. Blocks may be summed
/// concurrently.
template <class Sum>
auto SumsOfBlocks(std::uint32_t n_beads, const Sum& sum) {
  const std::uint32_t n_blocks = (n_beads + kBlockBeads - 1) / kBlockBeads;
  std::vector<decltype(sum(0u, 0u))> sums(n_blocks);
  const auto one = [&](std::uint32_t block) {
    sums[block] = sum(block * kBlockBeads, std::min(n_beads, (block + 1) * kBlockBeads));
  };
  if (n_beads < kSharedBeads) {
    for (std::uint32_t block = 0; block < n_blocks; ++block) one(block);
  } else {
    // While it waits, this thread must not start measuring another bed, which would use the same scratch memory.
    tbb::this_task_arena::isolate([&] { tbb::parallel_for(0u, n_blocks, one); });
  }
  return sums;
}

}  // namespace gyrebox::kernels
