/// Converts columns of the kernels to observables of the schema.
#pragma once

#include <vector>

#include "gyrebox/ensemble.h"
#include "gyrebox/v1/observable.pb.h"

namespace gyrebox::study {

std::vector<v1::Observable> ToObservables(const std::vector<kernels::Column>& columns);

}  // namespace gyrebox::study
