/// Recovery of a damaged store.
#pragma once

#include <absl/status/statusor.h>

#include <string>
#include <vector>

namespace gyrebox::store {

/// Result of a salvage.
struct Salvaged {
  int64_t studies = 0, runs = 0;  ///< in the new store
  std::vector<std::string> lost;  ///< one line per loss: what was lost, and the consequence
};

/// Builds a consistent store in `to` from everything readable in the damaged store `from`, which is only read. Rows are
/// copied page by page, so a bad page costs only its own rows; states are copied if length and checksum match. A run
/// that lost reproducible data is queued at its newest intact checkpoint, or at its start; an open run with lost
/// adjustments ends as FAILED. The list of losses is also written to `to`/salvage.txt. FAILED_PRECONDITION if a server
/// uses `from`, or `to` is not empty.
absl::StatusOr<Salvaged> Salvage(const std::string& from, const std::string& to);

}  // namespace gyrebox::store
