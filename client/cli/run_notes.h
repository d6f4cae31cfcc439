/// What a reader must know about runs that went on.
#pragma once

#include <ostream>
#include <string>

#include "gyrebox/v1/run_service.pb.h"

namespace gyrebox::client {

/// Writes, a line each, the faults that runs got past and the alarms that they raised. Nothing where there are none.
void WriteRunNotes(std::ostream& out, const v1::ListRunsResponse& runs);

/// ", though half the step gets past it" or the like; empty where that was not tried.
std::string NatureText(v1::Fault::Nature nature);

}  // namespace gyrebox::client
