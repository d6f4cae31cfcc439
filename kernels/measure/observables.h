/// All observables of a bed, in the order of its columns.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/clusters/clusters.h"
#include "measure/clusters/morphology.h"
#include "measure/pairs/bond_order.h"
#include "measure/pairs/energetics.h"
#include "measure/pairs/pair_correlation.h"
#include "measure/snapshot.h"
#include "measure/structure_factor/structure_factor.h"
#include "measure/transport.h"

namespace gyrebox::kernels {

/// Observables that are costly to measure.
struct CostlyObservables {
  StructureSummary waves;
  PairCorrelation correlation;
  BondOrder order;
  Morphology morphology;
};

/// All results of measuring a bed, from any device.
struct Findings {
  ClusterSummary clusters;
  Transport transport;
  Energetics energetics;
  std::optional<CostlyObservables> structure;
  // See Snapshot.
  std::int64_t lost_beads = 0;
  double closest_pair = 0, largest_move = 0, friction_residual = 0;
};

/// Values of all columns.
std::vector<double> ValuesOf(const Findings& found);

/// Measures beds of one run; may be used by several threads concurrently.
class Observables {
 public:
  explicit Observables(const RunSpec& spec);

  const std::vector<Column>& columns() const { return columns_; }
  /// Values of all columns at an instant.
  /// @param whole false leaves out the costly columns of structure, which then hold NaN.
  std::vector<double> Measure(const Snapshot& snapshot, bool whole) const;

 private:
  RunSpec spec_;
  std::vector<Column> columns_;
};

}  // namespace gyrebox::kernels
