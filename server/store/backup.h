/// Copies of whole stores.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <string>
#include <vector>

#include "store/database.h"

namespace gyrebox::store {

/// What a copy holds.
struct Copied {
  int states = 0;                    ///< files
  std::vector<std::string> damaged;  ///< files that the store names and that are not whole there: left out
};

/// Copies a store, also beside a server that uses it: all that was in it at one moment. Only reads `from`. States are
/// further names of the same files where the file system has such, and are read through.
/// @param to must be empty or not there; it is there whole, or not at all.
/// FAILED_PRECONDITION where there is no store, an older one, or something in `to`; RESOURCE_EXHAUSTED where the disk
/// is full.
absl::StatusOr<Copied> Backup(const std::string& from, const std::string& to);

/// Copies a store of an older layout before it is changed; nobody else uses it. Returns where to: a directory of its
/// own in that of the store.
absl::StatusOr<std::string> BackupBefore(Connection& connection, const std::string& directory, int layout);

}  // namespace gyrebox::store
