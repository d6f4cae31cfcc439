#include "store/state_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include "study/return_if_error.h"

namespace gyrebox::store {

uint32_t ChecksumOf(const std::string& bytes) {
  return static_cast<uint32_t>(crc32_z(0, reinterpret_cast<const Bytef*>(bytes.data()), bytes.size()));
}

static absl::Status Failure(const std::string& what, const std::string& path) {
  const std::string text = "cannot " + what + " " + path + ": " + std::strerror(errno);
  return errno == ENOSPC || errno == EDQUOT ? absl::ResourceExhaustedError(text) : absl::InternalError(text);
}

/// An open file or directory, closed on destruction.
class File {
 public:
  File(std::string path, int flags) : path_(std::move(path)), file_(open(path_.c_str(), flags | O_CLOEXEC, 0600)) {}
  ~File() {
    if (file_ >= 0) close(file_);
  }
  File(const File&) = delete;
  File& operator=(const File&) = delete;

  absl::Status Opened() const { return file_ >= 0 ? absl::OkStatus() : Failure("open", path_); }
  absl::Status Write(std::string_view bytes) {
    for (size_t at = 0; at < bytes.size();) {
      const ssize_t written = write(file_, bytes.data() + at, bytes.size() - at);
      if (written < 0 && errno != EINTR) return Failure("write", path_);
      at += static_cast<size_t>(std::max<ssize_t>(written, 0));
    }
    return absl::OkStatus();
  }
  absl::Status Sync() { return fsync(file_) == 0 ? absl::OkStatus() : Failure("sync", path_); }

 private:
  const std::string path_;
  const int file_;
};

static absl::Status WriteDraft(const std::string& path, std::string_view bytes) {
  File file(path, O_WRONLY | O_CREAT | O_TRUNC);
  const absl::Status status = file.Opened();
  return status.ok() ? file.Write(bytes) : status;
}

static absl::Status Sync(const std::string& path, int flags) {
  File file(path, flags);
  const absl::Status status = file.Opened();
  return status.ok() ? file.Sync() : status;
}

absl::Status SyncDirectory(const std::string& path) { return Sync(path, O_RDONLY | O_DIRECTORY); }

static std::string DraftOf(const std::string& path) { return path + ".new"; }

static absl::Status WriteDrafts(const std::string& directory, std::span<const WholeFile> files) {
  absl::Status status;
  for (const WholeFile& file : files) {
    if (status.ok()) status = WriteDraft(DraftOf(directory + "/" + file.name), file.bytes);
  }
  for (const WholeFile& file : files) {
    if (status.ok()) status = Sync(DraftOf(directory + "/" + file.name), O_RDONLY);
  }
  if (status.ok()) return status;
  std::error_code error;
  for (const WholeFile& file : files) std::filesystem::remove(DraftOf(directory + "/" + file.name), error);
  return status;  // the disk space is free again
}

absl::Status MakeDirectory(const std::string& path) {
  std::error_code error;
  const std::filesystem::path parent = std::filesystem::path(path).parent_path();
  if (!parent.empty()) std::filesystem::create_directories(parent, error);
  if (!error && mkdir(path.c_str(), 0700) != 0 && errno != EEXIST) return Failure("make", path);
  if (!error && std::filesystem::is_directory(path)) return absl::OkStatus();
  return absl::InternalError("cannot make " + path + ": " + (error ? error.message() : "a file is in its way"));
}

absl::Status CheckFree(const std::string& directory) {
  std::error_code none;
  if (!std::filesystem::exists(directory, none)) return absl::OkStatus();
  if (std::filesystem::is_directory(directory, none) && std::filesystem::is_empty(directory, none)) {
    return absl::OkStatus();
  }
  return absl::FailedPreconditionError(directory + " is not empty; give a directory that is, or a new one");
}

absl::Status LinkOrCopy(const std::string& from, const std::string& to) {
  const std::string draft = DraftOf(to);
  std::error_code error;
  std::filesystem::remove(draft, error);
  if (link(from.c_str(), draft.c_str()) != 0) {
    // Linking fails across file systems, or without support for links: copy.
    std::ifstream in(from, std::ios::binary);
    File out(draft, O_WRONLY | O_CREAT | O_TRUNC);
    absl::Status status = out.Opened();
    std::string piece(1 << 20, '\0');
    while (status.ok() && in) {
      in.read(piece.data(), static_cast<std::streamsize>(piece.size()));
      status = out.Write(std::string_view(piece).substr(0, static_cast<size_t>(in.gcount())));
    }
    if (status.ok()) status = out.Sync();
    if (status.ok() && !in.eof()) status = absl::DataLossError("cannot read " + from);
    if (!status.ok()) std::filesystem::remove(draft, error);
    if (!status.ok()) return status;
  }
  // If both are already links to the same file, rename(2) leaves the draft.
  if (std::rename(draft.c_str(), to.c_str()) != 0) return Failure("rename", draft);
  std::filesystem::remove(draft, error);
  return absl::OkStatus();
}

absl::Status WriteAtomically(const std::string& directory, std::span<const WholeFile> files) {
  std::error_code error;
  const bool made = !std::filesystem::exists(directory, error);
  GYREBOX_RETURN_IF_ERROR(MakeDirectory(directory));
  GYREBOX_RETURN_IF_ERROR(WriteDrafts(directory, files));
  for (const WholeFile& file : files) {
    const std::string path = directory + "/" + file.name;
    if (std::rename(DraftOf(path).c_str(), path.c_str()) != 0) return Failure("rename", DraftOf(path));
  }
  absl::Status status = SyncDirectory(directory);
  if (made) status.Update(SyncDirectory(std::filesystem::path(directory).parent_path()));
  return status;
}

absl::StatusOr<std::string> ReadWhole(const std::string& path, int64_t length, uint32_t checksum) {
  std::ifstream in(path, std::ios::binary);
  std::string bytes(static_cast<size_t>(length), '\0');
  in.read(bytes.data(), length);
  if (!in || in.peek() != std::ifstream::traits_type::eof() || ChecksumOf(bytes) != checksum) {
    return absl::DataLossError(path + " is damaged, or not there");
  }
  return bytes;
}

}  // namespace gyrebox::store
