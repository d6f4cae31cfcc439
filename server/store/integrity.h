/// A database that is found whole before anything is built on it.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>

#include "store/database.h"

namespace gyrebox::store {

/// Opens or makes a database for writing and looks through all of its pages: a page that was damaged while the server
/// was away is found now, and not by the call that first reads it. DATA_LOSS that says what is damaged and what to do;
/// FAILED_PRECONDITION where it cannot be written to.
absl::StatusOr<std::unique_ptr<Connection>> OpenWhole(const std::string& path);

}  // namespace gyrebox::store
