/// One server a data directory.
#pragma once

#include <absl/status/statusor.h>

#include <memory>
#include <string>

namespace gyrebox::store {

/// Holds a data directory for this process, until destroyed or the process ends in whatever way.
class DirectoryLock {
 public:
  /// Makes the directory if it is not there. FAILED_PRECONDITION where another process holds it.
  static absl::StatusOr<std::unique_ptr<DirectoryLock>> Take(const std::string& directory);
  ~DirectoryLock();

 private:
  explicit DirectoryLock(int file) : file_(file) {}
  const int file_;
};

}  // namespace gyrebox::store
