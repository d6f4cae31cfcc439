/// Converts kernel faults to schema messages.
#pragma once

#include "gyrebox/ensemble.h"
#include "gyrebox/v1/run.pb.h"

namespace gyrebox::executor {

v1::Fault ToFault(const kernels::Fault& fault);

}  // namespace gyrebox::executor
