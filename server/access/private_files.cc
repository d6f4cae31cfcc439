#include "access/private_files.h"

#include <fcntl.h>
#include <spdlog/spdlog.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <system_error>

#include "discovery/descriptor.h"

namespace gyrebox::access {

namespace fs = std::filesystem;

constexpr fs::perms kOthers = fs::perms::group_all | fs::perms::others_all;

void KeepNewFilesPrivate() { umask(S_IRWXG | S_IRWXO); }

static bool IsOpen(const fs::path& path) {
  std::error_code error;
  return (fs::symlink_status(path, error).permissions() & kOthers) != fs::perms::none && !error;
}

/// Apply to a directory before its contents: what lies in a directory that others cannot enter is private already.
static void TakeRights(const fs::path& path) {
  if (!IsOpen(path)) return;
  std::error_code error;
  fs::permissions(path, kOthers, fs::perm_options::remove | fs::perm_options::nofollow, error);
  if (error) fs::permissions(path, kOthers, fs::perm_options::remove, error);
  if (error) spdlog::warn("others on this machine may read {}: {}", path.string(), error.message());
}

absl::Status MakeDataPrivate(const std::string& directory) {
  std::error_code error;
  fs::create_directories(directory, error);
  if (error) return absl::FailedPreconditionError("cannot make " + directory + ": " + error.message());
  const bool ours = fs::exists(directory + "/gyrebox.db", error) || fs::is_empty(directory, error);
  if (!ours) {
    if (IsOpen(directory)) spdlog::warn("{} holds other things; its mode is left as it is", directory);
    return absl::OkStatus();
  }
  if (!IsOpen(directory)) return absl::OkStatus();
  for (fs::recursive_directory_iterator entry(directory, fs::directory_options::skip_permission_denied, error), end;
       !error && entry != end; entry.increment(error)) {
    if (!entry->is_symlink(error)) TakeRights(entry->path());
  }
  TakeRights(directory);  // last, so that an interrupted start does it all again
  return absl::OkStatus();
}

absl::Status WriteNewPrivate(const std::string& path, const std::string& text) {
  const Descriptor file(open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, S_IRUSR | S_IWUSR));
  if (!file.open()) {
    const std::string why = errno == EEXIST ? "it is there already" : std::strerror(errno);
    return absl::FailedPreconditionError("cannot make " + path + ": " + why);
  }
  if (write(file.get(), text.data(), text.size()) == static_cast<ssize_t>(text.size()) && fsync(file.get()) == 0) {
    return absl::OkStatus();
  }
  const std::string why = std::strerror(errno);
  unlink(path.c_str());
  return absl::FailedPreconditionError("cannot write " + path + ": " + why);
}

}  // namespace gyrebox::access
