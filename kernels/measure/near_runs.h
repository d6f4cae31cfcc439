/// Distances of a bead to a run of others, counted by bins. Compiled for an instruction set that takes several at a
/// time.
#pragma once

#include <cstdint>

#include "measure/distance_bins.h"

namespace gyrebox::kernels {

/// Places that lie side by side.
struct PlaceRow {
  static constexpr int kPadding = 8;               ///< numbers past the last place that may be read
  const std::uint32_t *x = nullptr, *y = nullptr;  ///< (places + padding) fixed point
  double quantum_x = 0, quantum_y = 0;             ///< sigma
};

/// Bins of a histogram: those of the pair correlation, and as many beyond that what is a few times further than the
/// last of them does not all fall into one, where each count would wait for the one before.
inline constexpr int kCountedBins = 1024;

/// Counts the distances of place `own` to those from `first` up to `last`.
/// @param histogram (places + padding) where in `counts` the histogram of a place begins.
void CountDistances(const PlaceRow& row, std::uint32_t own, std::uint32_t first, std::uint32_t last,
                    const std::uint32_t* histogram, std::uint64_t* counts);

}  // namespace gyrebox::kernels
