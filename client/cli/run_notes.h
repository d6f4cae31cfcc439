/// What a reader must know about runs that went on.
#pragma once

#include <ostream>
#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"

namespace gyrebox::client {

/// Writes, a line each, the faults that runs got past and the alarms that they raised. Nothing where there are none.
void WriteRunNotes(std::ostream& out, const std::vector<v1::Run>& runs);

/// Writes, a line each, the runs that people changed while they ran. Nothing where there are none.
void WriteSteered(std::ostream& out, const std::vector<v1::Run>& runs);

/// Writes, a line each, the runs that people left out. Nothing where there are none.
void WriteExcluded(std::ostream& out, const std::vector<v1::Run>& runs);

/// ", though half the step gets past it" or the like; empty where that was not tried.
std::string NatureText(v1::Fault::Nature nature);

}  // namespace gyrebox::client
