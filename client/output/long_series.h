/// Series in long format: one line per value.
#pragma once

#include <ostream>

#include "gyrebox/v1/run_service.pb.h"

namespace gyrebox::client {

/// Writes the header. @param axes fields and units of the axes.
void WriteLongHead(std::ostream& out, const v1::TabulateRunsResponse& axes);

/// Writes the values of a run: its parameters, the time, the drive, the observable, the bin of a distribution and the
/// value. Values that a sample does not hold are left out.
void WriteLongSeries(std::ostream& out, const v1::Run& run, const v1::ListSamplesResponse& series);

}  // namespace gyrebox::client
