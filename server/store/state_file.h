/// Files that are complete or absent.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <span>
#include <string>
#include <string_view>

namespace gyrebox::store {

/// CRC-32 of bytes.
uint32_t ChecksumOf(const std::string& bytes);

/// A file to write.
struct WholeFile {
  std::string name;        ///< in its directory
  std::string_view bytes;  ///< not owned
};

/// Replaces files: writes each to a new file in the same directory, and renames them once all are on disk. Creates the
/// directory. RESOURCE_EXHAUSTED if the disk is full.
absl::Status WriteAtomically(const std::string& directory, std::span<const WholeFile> files);

/// Creates a directory that only its user can read, and its parents, if they are missing.
absl::Status MakeDirectory(const std::string& path);

/// FAILED_PRECONDITION if a path exists and is not an empty directory.
absl::Status CheckFree(const std::string& directory);

/// A file as recorded in the database.
struct KnownFile {
  std::string name;
  int64_t length = 0;
  uint32_t checksum = 0;
  bool is_checkpoint = false;  ///< only a checkpoint, which may be removed at any time
};

/// Hard-links a file, replacing any file at `to`; copies it if linking fails. The name is durable after
/// SyncDirectory().
absl::Status LinkOrCopy(const std::string& from, const std::string& to);

/// Syncs the entries of a directory to disk.
absl::Status SyncDirectory(const std::string& path);

/// Reads a file. DATA_LOSS if it is missing or its length or checksum does not match.
absl::StatusOr<std::string> ReadWhole(const std::string& path, int64_t length, uint32_t checksum);

}  // namespace gyrebox::store
