/// Measures stored beds from bead positions alone.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "gyrebox/ensemble.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// Uses the same observables as a live run: with the run's own `measure` it reproduces the numbers of the run's
/// samples, on the CPU bit for bit. May be used by several threads concurrently.
class StillMeasure {
 public:
  /// @param spec of the run that the beds belong to; its `measure` sets the parameters.
  explicit StillMeasure(const RunSpec& spec);
  ~StillMeasure();

  /// The columns of a run that need positions only: no motion, power or health of a step.
  const std::vector<Column>& columns() const;
  /// Values of these columns for a bed at a step of the run, structure included.
  Sample Measure(const SavedBed& beads, std::int64_t step) const;

 private:
  struct Inside;
  std::unique_ptr<const Inside> inside_;
};

}  // namespace gyrebox::kernels
