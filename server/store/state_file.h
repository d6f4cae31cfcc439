/// Files that are whole or not there.
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
  std::string_view bytes;  ///< of someone else
};

/// Writes files in place of what was there: each into a new file beside it, which takes the name once all are on the
/// disk. Makes the directory. RESOURCE_EXHAUSTED where the disk is full.
absl::Status WriteWhole(const std::string& directory, std::span<const WholeFile> files);

/// Makes a directory that its user alone can read, and those above it, where they are not there.
absl::Status MakeDirectory(const std::string& path);

/// FAILED_PRECONDITION where a directory is there and not empty.
absl::Status CheckFree(const std::string& directory);

/// A file as the database knows it.
struct KnownFile {
  std::string name;
  int64_t length = 0;
  uint32_t checksum = 0;
  bool is_checkpoint = false;  ///< and nothing else: it may go at any time
};

/// Gives a file a second name in place of what had that; a copy where the file system has no such names. Names are on
/// the disk after SyncDirectory().
absl::Status LinkOrCopy(const std::string& from, const std::string& to);

/// Puts the names in a directory on the disk.
absl::Status SyncDirectory(const std::string& path);

/// Reads a file. DATA_LOSS where it is not there, or not of this length and checksum.
absl::StatusOr<std::string> ReadWhole(const std::string& path, int64_t length, uint32_t checksum);

}  // namespace gyrebox::store
