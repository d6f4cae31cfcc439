/// Converts the device's measurements to the columns of a sample.
#pragma once

#include <vector>

#include "cuda/bed_data.h"
#include "cuda/measured.h"

namespace gyrebox::kernels::cuda {

/// Values of all columns of Observables. @param temperature at the time of the probe. @param whole whether the sums
/// include those of structure.
std::vector<double> ColumnsOf(const MeasuredSums& sums, const Probe& probe, const RunSpec& spec, double temperature,
                              bool whole);

}  // namespace gyrebox::kernels::cuda
