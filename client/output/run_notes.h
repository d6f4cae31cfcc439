/// Notes on runs: recovered faults, warnings, changes and exclusions.
#pragma once

#include <ostream>
#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"

namespace gyrebox::client {

/// Writes one line for each recovered fault and each warning of a run; nothing if there are none.
void WriteRunNotes(std::ostream& out, const std::vector<v1::Run>& runs);

/// Writes one line for each run that users changed while it ran; nothing if there are none.
void WriteSteered(std::ostream& out, const std::vector<v1::Run>& runs);

/// Writes one line for each excluded run; nothing if there are none.
void WriteExcluded(std::ostream& out, const std::vector<v1::Run>& runs);

/// " (numerical: half the time step gets past it)" or the like; empty for other causes.
std::string CauseText(v1::Fault::Cause cause);

}  // namespace gyrebox::client
