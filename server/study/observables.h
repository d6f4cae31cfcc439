/// Observables of the schema: their names, and those that the columns of the kernels are.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "gyrebox/v1/observable.pb.h"

namespace gyrebox::study {

/// Averages over clusters: the sizes of domains.
inline constexpr char kNumberAverage[] = "spinner_number_average_size";
inline constexpr char kWeightAverage[] = "spinner_weight_average_size";

std::vector<v1::Observable> ToObservables(const std::vector<kernels::Column>& columns);

}  // namespace gyrebox::study
