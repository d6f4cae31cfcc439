/// Files that only the user of this process can read.
#pragma once

#include <absl/status/status.h>

#include <string>

namespace gyrebox::access {

/// Makes all files that this process creates from now on private to its user, whatever umask it was started with.
void KeepNewFilesPrivate();

/// Creates the data directory if it does not exist. Removes all rights of other users from a directory of an earlier
/// version and its contents; leaves a directory that holds other things alone. Logs what it cannot do.
/// FAILED_PRECONDITION if the directory cannot be created.
absl::Status MakeDataPrivate(const std::string& directory);

/// Writes a file that must not exist yet. FAILED_PRECONDITION that names it.
absl::Status WriteNewPrivate(const std::string& path, const std::string& text);

}  // namespace gyrebox::access
