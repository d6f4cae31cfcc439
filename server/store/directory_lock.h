/// Ensures one server per data directory.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>

namespace gyrebox::store {

/// Locks a data directory for this process, until destroyed or until the process ends for any reason.
class DirectoryLock {
 public:
  /// Creates the directory if it is missing. FAILED_PRECONDITION if another process holds the lock.
  static absl::StatusOr<std::unique_ptr<DirectoryLock>> Take(const std::string& directory);
  ~DirectoryLock();

 private:
  explicit DirectoryLock(int file) : file_(file) {}
  const int file_;
};

}  // namespace gyrebox::store
