/// The files of states.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <set>
#include <span>
#include <string>
#include <vector>

#include "store/bed_bytes.h"
#include "store/state_file.h"

namespace gyrebox::store {

struct StateRow;

/// The directory of the states in the data directory. Thread-safe.
class StateDirectory {
 public:
  explicit StateDirectory(const std::string& data) : path_(data + "/states"), lost_(data + "/lost") {}

  const std::string& path() const { return path_; }

  /// Writes files so that each is complete or absent.
  absl::Status Write(std::span<const WholeFile> files) const { return WriteAtomically(path_, files); }
  /// Reads the file of a state. DATA_LOSS if it is missing or damaged.
  absl::StatusOr<BedBytes> Read(const StateRow& row) const;
  /// Removes files; those that cannot be removed are moved away when the store is opened next.
  void Remove(const std::vector<std::string>& files) const;
  /// Moves all files but the known ones to the directory `lost`.
  absl::Status MoveUnknown(const std::set<std::string>& known) const;

 private:
  const std::string path_, lost_;
};

}  // namespace gyrebox::store
