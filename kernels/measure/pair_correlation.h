/// Pair correlation g(r): how many beads are at a distance, over how many there would be without order.
#pragma once

#include <array>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/distance_bins.h"
#include "measure/near_beads.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// g(r) by bins of distance, for each kind of pair. NaN in bins past half the shorter side, and where there are no two
/// such beads.
struct PairCorrelation {
  using Curve = std::array<double, kDistanceBins>;
  Curve spinner_spinner, spinner_passive, passive_passive;
};

/// Numbers of pairs by their number of spinners, 0 to 2, and by bin of distance.
struct PairCounts {
  unsigned long long of[3][kDistanceBins] = {};
};

/// @param scratch memory to use.
PairCorrelation MeasurePairCorrelation(const Snapshot& snapshot, NearBeads& scratch);

/// From the number of pairs in each bin, by their number of spinners. Sides in sigma.
PairCorrelation CorrelationOf(const PairCounts& counts, double n_spinners, double n_passive, double side_x,
                              double side_y);

/// Columns of a PairCorrelation.
std::vector<Column> PairCorrelationColumns();
/// Appends the values in the order of PairCorrelationColumns().
void AppendTo(const PairCorrelation& correlation, std::vector<double>& values);

}  // namespace gyrebox::kernels
