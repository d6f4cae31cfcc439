/// Integrity check of a database before use.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>

#include "store/database.h"

namespace gyrebox::store {

/// Opens or creates a database for writing and checks all of its pages, so that a page damaged while the server was
/// down is found now and not by the first call that reads it. DATA_LOSS, with the damage and advice;
/// FAILED_PRECONDITION if it is not writable.
absl::StatusOr<std::unique_ptr<Connection>> OpenChecked(const std::string& path);

}  // namespace gyrebox::store
