/// Files that only the user of this process can read.
#pragma once

#include <absl/status/status.h>

#include <string>

namespace gyrebox::access {

/// From now on what this process makes is its user's alone, whatever umask it was started with.
void KeepNewFilesPrivate();

/// Makes the data directory where it is not there. Takes from one that an earlier version left, and from what is in it,
/// the rights of all others; a directory that holds other things is left alone. Where that cannot be done, the log says
/// so. FAILED_PRECONDITION where the directory cannot be made.
absl::Status MakeDataPrivate(const std::string& directory);

/// Writes a file that must not be there yet. FAILED_PRECONDITION that names it.
absl::Status WriteNewPrivate(const std::string& path, const std::string& text);

}  // namespace gyrebox::access
