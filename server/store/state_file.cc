#include "store/state_file.h"

#include <fcntl.h>
#include <unistd.h>
#include <zlib.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

namespace gyrebox::store {

uint32_t ChecksumOf(const std::string& bytes) {
  return static_cast<uint32_t>(crc32_z(0, reinterpret_cast<const Bytef*>(bytes.data()), bytes.size()));
}

static absl::Status Failure(const std::string& what, const std::string& path) {
  const std::string text = "cannot " + what + " " + path + ": " + std::strerror(errno);
  return errno == ENOSPC || errno == EDQUOT ? absl::ResourceExhaustedError(text) : absl::InternalError(text);
}

/// An open file or directory, closed at the end.
class File {
 public:
  File(std::string path, int flags) : path_(std::move(path)), file_(open(path_.c_str(), flags | O_CLOEXEC, 0644)) {}
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

static absl::Status SyncDirectory(const std::string& path) { return Sync(path, O_RDONLY | O_DIRECTORY); }

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
  return status;  // and the room is given back
}

absl::Status WriteWhole(const std::string& directory, std::span<const WholeFile> files) {
  std::error_code error;
  const bool made = std::filesystem::create_directories(directory, error);
  if (error) return absl::InternalError("cannot make " + directory + ": " + error.message());
  if (auto status = WriteDrafts(directory, files); !status.ok()) return status;
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
