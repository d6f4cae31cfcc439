/// Who a store is: a random id in its database and in a small file beside it. A database is never used with the states
/// of another.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <optional>
#include <string>

#include "store/database.h"

namespace gyrebox::store {

/// What the database says of itself.
struct Identity {
  std::string id;
  std::optional<int64_t> copy_time;  ///< milliseconds since 1970, where it is a copy that was made then
};

/// None in a database of a layout that had none.
absl::StatusOr<std::optional<Identity>> ReadIdentity(Connection& connection);

/// FAILED_PRECONDITION where a data directory holds states or the id of a store, but no database, or one without
/// tables: then a new one would be built beside the states of another.
absl::Status CheckDirectory(const std::string& directory);

/// FAILED_PRECONDITION where the database is of another program, or of another store than the directory, with what to
/// do.
absl::Status CheckIdentity(Connection& connection, const std::string& directory);

/// Writes the file, where the database has an id and the directory none.
absl::Status NoteIdentity(Connection& connection, const std::string& directory);

}  // namespace gyrebox::store
