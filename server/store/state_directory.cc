#include "store/state_directory.h"

#include <spdlog/spdlog.h>

#include <filesystem>

#include "store/bed_bytes.h"
#include "store/state_rows.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

void StateDirectory::Remove(const std::vector<std::string>& files) const {
  std::error_code ignored;  // the next Open() moves remaining files away
  for (const std::string& file : files) std::filesystem::remove(path_ + "/" + file, ignored);
}

absl::StatusOr<BedBytes> StateDirectory::Read(const StateRow& row) const {
  auto bytes = ReadWhole(path_ + "/" + row.file, row.length, row.checksum);
  if (!bytes.ok()) return bytes.status();
  BedBytes bed = row.bed;
  bed.bytes = *std::move(bytes);
  return bed;
}

/// An unused name in a directory, based on `name`.
static std::string FreeNameIn(const std::string& directory, const std::string& name) {
  std::string free = name;
  for (int i = 2; std::filesystem::exists(directory + "/" + free); ++i) free = name + "~" + std::to_string(i);
  return free;
}

absl::Status StateDirectory::MoveUnknown(const std::set<std::string>& known) const {
  std::vector<std::string> unknown;
  std::error_code none;  // the directory does not exist before the first state
  for (const auto& entry : std::filesystem::directory_iterator(path_, none)) {
    if (const std::string name = entry.path().filename().string(); !known.contains(name)) unknown.push_back(name);
  }
  if (unknown.empty()) return absl::OkStatus();
  GYREBOX_RETURN_IF_ERROR(MakeDirectory(lost_));
  std::error_code error;
  for (const std::string& name : unknown) {
    std::filesystem::rename(path_ + "/" + name, lost_ + "/" + FreeNameIn(lost_, name), error);
    if (error)
      return absl::InternalError("cannot move " + path_ + "/" + name + " to " + lost_ + ": " + error.message());
  }
  spdlog::warn(
      "{} files in {} that the database does not know, such as {}, were moved to {}; what a sudden end left "
      "behind may be deleted there",
      unknown.size(), path_, unknown.front(), lost_);
  return absl::OkStatus();
}

}  // namespace gyrebox::store
