/// Backups of whole stores.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <string>
#include <vector>

#include "store/database.h"

namespace gyrebox::store {

/// Contents of a copy.
struct Copied {
  int states = 0;                    ///< files
  std::vector<std::string> damaged;  ///< files of the store that are missing or damaged; left out
};

/// Makes a consistent copy of a store, even while a server uses it. Only reads `from`. States are hard links to the
/// same files if the file system supports them; each is read and verified.
/// @param to must be empty or absent; appears complete or not at all.
/// FAILED_PRECONDITION if there is no store, it has another layout, or `to` is not empty; RESOURCE_EXHAUSTED if the
/// disk is full.
absl::StatusOr<Copied> Backup(const std::string& from, const std::string& to);

/// Copies a store of an older layout before its migration; nothing else may use the store. @return the path of the
/// copy, a new directory inside that of the store.
absl::StatusOr<std::string> BackupBefore(Connection& connection, const std::string& directory, int layout);

}  // namespace gyrebox::store
