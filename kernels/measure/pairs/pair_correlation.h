/// Pair correlation g(r): number of pairs at a distance, relative to beads without order.
#pragma once

#include <array>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/pairs/cell_list.h"
#include "measure/pairs/distance_bins.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// g(r) by distance bin, for each kind of pair. NaN in bins past half the shorter side, and if there are no such pairs.
struct PairCorrelation {
  using Curve = std::array<double, kDistanceBins>;
  Curve spinner_spinner, spinner_passive, passive_passive;
};

/// Number of pairs by number of spinners, 0 to 2, and by distance bin.
struct PairCounts {
  unsigned long long of[3][kDistanceBins] = {};
};

/// @param scratch memory to use.
PairCorrelation MeasurePairCorrelation(const Snapshot& snapshot, CellList& scratch);

/// From the number of pairs in each bin, by their number of spinners. Sides in sigma.
PairCorrelation CorrelationOf(const PairCounts& counts, double n_spinners, double n_passive, double side_x,
                              double side_y);

/// Columns of a PairCorrelation.
std::vector<Column> PairCorrelationColumns();
/// Appends the values in the order of PairCorrelationColumns().
void AppendTo(const PairCorrelation& correlation, std::vector<double>& values);

}  // namespace gyrebox::kernels
