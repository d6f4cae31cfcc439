/// Pair correlation g(r): how many beads are at a distance, over how many there would be without order.
#pragma once

#include <array>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/near_beads.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

inline constexpr int kDistanceBins = 200;
inline constexpr double kDistanceBin = 0.02;  ///< sigma

/// g(r) by bins of distance, for each kind of pair. NaN in bins past half the shorter side, and where there are no two
/// such beads.
struct PairCorrelation {
  using Curve = std::array<double, kDistanceBins>;
  Curve spinner_spinner, spinner_passive, passive_passive;
};

/// @param scratch memory to use.
PairCorrelation MeasurePairCorrelation(const Snapshot& snapshot, NearBeads& scratch);

/// Columns of a PairCorrelation.
std::vector<Column> PairCorrelationColumns();
/// Appends the values in the order of PairCorrelationColumns().
void AppendTo(const PairCorrelation& correlation, std::vector<double>& values);

}  // namespace gyrebox::kernels
