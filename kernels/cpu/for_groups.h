/// Distribution of passes over groups to threads.
#pragma once

#include <tbb/parallel_for.h>
#include <tbb/parallel_reduce.h>

#include <algorithm>

#include "cpu/step.h"

namespace gyrebox::kernels {

inline constexpr std::int64_t kGroupsPerTile = 16;

inline StepHealth Worse(const StepHealth& a, const StepHealth& b) {
  return {std::min(a.closest_squared, b.closest_squared), std::max(a.largest_move_squared, b.largest_move_squared),
          std::max(a.largest_drift_squared, b.largest_drift_squared)};
}

/// Runs work(first_group, last_group) over all groups, by all threads if `share`.
template <class Work>
void ForGroups(std::int64_t n_groups, bool share, const Work& work) {
  if (!share) {
    work(std::int64_t{0}, n_groups);
    return;
  }
  tbb::parallel_for(tbb::blocked_range<std::int64_t>(0, n_groups, kGroupsPerTile),
                    [&](const auto& range) { work(range.begin(), range.end()); });
}

/// The same; returns the worst health of the parts.
template <class Work>
StepHealth WorstOfGroups(std::int64_t n_groups, bool share, const Work& work) {
  if (!share) return work(std::int64_t{0}, n_groups);
  return tbb::parallel_reduce(
      tbb::blocked_range<std::int64_t>(0, n_groups, kGroupsPerTile), StepHealth{},
      [&](const auto& range, const StepHealth& so_far) { return Worse(so_far, work(range.begin(), range.end())); },
      Worse);
}

}  // namespace gyrebox::kernels
