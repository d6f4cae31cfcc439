#include "store/directory_lock.h"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <string>

#include "store/state_file.h"

namespace gyrebox::store {

absl::StatusOr<std::unique_ptr<DirectoryLock>> DirectoryLock::Take(const std::string& directory) {
  if (auto status = MakeDirectory(directory); !status.ok()) {
    return absl::FailedPreconditionError(std::string(status.message()));
  }
  const std::string path = directory + "/lock";
  const int file = open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (file < 0)
    return absl::FailedPreconditionError("cannot open " + path + ": " + std::strerror(errno) +
                                         "; --data is a directory that the user of this server may write in");
  std::unique_ptr<DirectoryLock> lock(new DirectoryLock(file));
  if (flock(file, LOCK_EX | LOCK_NB) == 0) return lock;
  if (errno != EWOULDBLOCK) return absl::FailedPreconditionError("cannot lock " + path + ": " + std::strerror(errno));
  return absl::FailedPreconditionError("another server uses " + directory + "; stop it, or give another --data");
}

DirectoryLock::~DirectoryLock() { close(file_); }

}  // namespace gyrebox::store
