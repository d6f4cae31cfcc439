/// All that is measured of a bed, in the order of its columns.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "measure/snapshot.h"

namespace gyrebox::kernels {

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
