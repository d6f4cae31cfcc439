/// How passes over groups are shared out between threads. Included by bead_arrays.h.
#pragma once

#include <tbb/parallel_for.h>
#include <tbb/parallel_reduce.h>

#include <algorithm>

#include "cpu/bead_arrays.h"

namespace gyrebox::kernels {

inline constexpr std::int64_t kGroupsPerTile = 16;

inline StepHealth Worse(const StepHealth& a, const StepHealth& b) {
  return {std::min(a.closest_squared, b.closest_squared), std::max(a.largest_move_squared, b.largest_move_squared),
          std::max(a.largest_drift_squared, b.largest_drift_squared)};
}

template <class Work>
void BeadArrays::ForGroups(const Work& work) const {
  if (n_beads_ < kTiledBeads) {
    work(std::int64_t{0}, groups());
    return;
  }
  tbb::parallel_for(tbb::blocked_range<std::int64_t>(0, groups(), kGroupsPerTile),
                    [&](const auto& range) { work(range.begin(), range.end()); });
}

template <class Work>
StepHealth BeadArrays::WorstOfGroups(const Work& work) const {
  if (n_beads_ < kTiledBeads) return work(std::int64_t{0}, groups());
  return tbb::parallel_reduce(
      tbb::blocked_range<std::int64_t>(0, groups(), kGroupsPerTile), StepHealth{},
      [&](const auto& range, const StepHealth& so_far) { return Worse(so_far, work(range.begin(), range.end())); },
      Worse);
}

}  // namespace gyrebox::kernels
