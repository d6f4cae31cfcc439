/// From what the device measured to the columns of a sample.
#pragma once

#include <vector>

#include "cuda/bed_data.h"
#include "cuda/measured.h"

namespace gyrebox::kernels::cuda {

/// Values of all columns of Observables. @param temperature that holds at this moment. @param whole whether the sums
/// hold those of structure.
std::vector<double> ColumnsOf(const MeasuredSums& sums, const Photograph& photograph, const RunSpec& spec,
                              double temperature, bool whole);

}  // namespace gyrebox::kernels::cuda
