/// What can be saved of a damaged store.
#pragma once

#include <absl/status/statusor.h>

#include <string>
#include <vector>

namespace gyrebox::store {

/// What came of it.
struct Salvaged {
  int64_t studies = 0, runs = 0;  ///< in the new store
  std::vector<std::string> lost;  ///< a line each: what was lost, and what becomes of it
};

/// Makes a sound store in `to` of all that can be read of the damaged one in `from`, which is only read. Rows are taken
/// page by page, so that a bad page costs what lies in it; states where length and checksum hold. A run that lost
/// something which it can do again is queued at its newest sound checkpoint, or at its start; one that has run with
/// adjustments that are lost ends as FAILED. The list of what was lost is written into `to`/salvage.txt too.
/// FAILED_PRECONDITION where a server uses `from`, or `to` is not empty.
absl::StatusOr<Salvaged> Salvage(const std::string& from, const std::string& to);

}  // namespace gyrebox::store
