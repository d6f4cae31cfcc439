/// Identity of a store: a random id in its database and in a small file next to it. It prevents the use of a database
/// with the states of another store.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>

#include "store/database.h"

namespace gyrebox::store {

/// Identity recorded in the database.
struct Identity {
  std::string id;
  std::optional<int64_t> copy_time;  ///< milliseconds since 1970, if the store is a copy
};

/// None for a database whose layout has no identity.
absl::StatusOr<std::optional<Identity>> ReadIdentity(Connection& connection);

/// FAILED_PRECONDITION if a data directory holds states or the id of a store, but no database or an empty one.
/// Otherwise a new database would be created next to the states of another store.
absl::Status CheckDirectory(const std::string& directory);

/// FAILED_PRECONDITION, with advice, if the database belongs to another program, to another store than the directory,
/// or has no tables in the directory of a store.
absl::Status CheckIdentity(Connection& connection, const std::string& directory);

/// Writes the id file if the directory has none. DATA_LOSS if the database has no id.
absl::Status NoteIdentity(Connection& connection, const std::string& directory);

}  // namespace gyrebox::store
