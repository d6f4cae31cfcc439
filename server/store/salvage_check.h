/// Makes salvaged rows consistent.
#pragma once

#include <absl/status/status.h>

#include <string>
#include <vector>

#include "store/database.h"
#include "store/salvage_rows.h"

namespace gyrebox::store {

/// Drops rows that are meaningless without lost ones, copies intact states, and queues runs that can be repeated. Adds
/// one line per loss.
absl::Status MakeSound(Connection& to, const FoundBeside& found, const std::string& from_states,
                       const std::string& to_states, std::vector<std::string>* lost);

}  // namespace gyrebox::store
