/// All that is measured of a bed, in the order of its columns.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/clusters.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

/// Keeps scratch memory, and what refers back to the start of the run.
class Observables {
 public:
  explicit Observables(const RunSpec& spec);

  const std::vector<Column>& columns() const { return columns_; }
  /// Values of all columns at a moment.
  std::vector<double> Measure(const Snapshot& snapshot);

 private:
  RunSpec spec_;
  std::vector<Column> columns_;
  ClusterFinder clusters_;
};

}  // namespace gyrebox::kernels
