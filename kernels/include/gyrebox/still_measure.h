/// Measures beds as they stood, from the places of their beads alone.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "gyrebox/ensemble.h"
#include "gyrebox/run_spec.h"

namespace gyrebox::kernels {

/// By the same observables as a run under way: with the run's own `measure` it gives the numbers of the run's samples,
/// on the CPU to the last bit. May be used by many threads at once.
class StillMeasure {
 public:
  /// @param spec of the run that the beds are of; its `measure` says how.
  explicit StillMeasure(const RunSpec& spec);
  ~StillMeasure();

  /// Those columns of a run that places suffice for: not what moves, powers and the health of a step are.
  const std::vector<Column>& columns() const;
  /// The columns of a bed at a step of the run, those of structure too.
  Sample Measure(const SavedBed& beads, std::int64_t step) const;

 private:
  struct Inside;
  std::unique_ptr<const Inside> inside_;
};

}  // namespace gyrebox::kernels
