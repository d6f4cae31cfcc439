/// Makes a sound store of the rows that could be read of a damaged one.
#pragma once

#include <absl/status/status.h>

#include <string>
#include <vector>

#include "store/database.h"
#include "store/salvage_rows.h"

namespace gyrebox::store {

/// Drops what tells nothing without what was lost, copies the states that are whole, and queues what can be done again.
/// Adds a line for everything that was lost.
absl::Status MakeSound(Connection& to, const FoundBeside& found, const std::string& from_states,
                       const std::string& to_states, std::vector<std::string>* lost);

}  // namespace gyrebox::store
