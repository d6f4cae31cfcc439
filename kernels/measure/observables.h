/// All that is measured of a bed, in the order of its columns.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/bond_order.h"
#include "measure/clusters.h"
#include "measure/energetics.h"
#include "measure/morphology.h"
#include "measure/pair_correlation.h"
#include "measure/snapshot.h"
#include "measure/structure.h"
#include "measure/transport.h"

namespace gyrebox::kernels {

/// What takes long to measure.
struct Structure {
  StructureSummary waves;
  PairCorrelation correlation;
  BondOrder order;
  Morphology morphology;
};

/// All that was found out about a bed, on whichever device.
struct Findings {
  ClusterSummary clusters;
  Transport transport;
  Energetics energetics;
  std::optional<Structure> structure;
  // See Snapshot.
  std::int64_t lost_beads = 0;
  double closest_pair = 0, largest_move = 0, friction_residual = 0;
};

/// Values of all columns.
std::vector<double> ValuesOf(const Findings& found);

/// Measures beds of one run; may be used by many threads at once.
class Observables {
 public:
  explicit Observables(const RunSpec& spec);

  const std::vector<Column>& columns() const { return columns_; }
  /// Values of all columns at a moment.
  /// @param whole false leaves out what takes long: the columns of structure, which hold NaN then.
  std::vector<double> Measure(const Snapshot& snapshot, bool whole) const;

 private:
  RunSpec spec_;
  std::vector<Column> columns_;
};

}  // namespace gyrebox::kernels
