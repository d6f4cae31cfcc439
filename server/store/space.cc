// Disk usage and limits of the store.
#include "store/space.h"

#include <sys/statvfs.h>

#include <limits>

#include "store/sql/space.h"

namespace gyrebox::store {

constexpr int64_t kBytesOfRun = 256;  ///< on disk, before it has started; see layout 10

absl::Status CountBytesOfRuns(Connection& connection, int64_t study, int64_t runs) {
  return connection.Prepare(sql::kAddStoredBytes).Bind(study, kBytesOfRun * runs).Run();
}

absl::Status CheckRuns(Connection& connection, const Bounds& bounds, const std::string& user, int64_t more) {
  if (bounds.open_runs == 0 || more == 0) return absl::OkStatus();
  Statement row = connection.Prepare(sql::kCountOpenRuns);
  const int64_t there = row.Bind(user).Next() ? row.Int(0) : 0;
  if (!row.status().ok() || there + more <= bounds.open_runs) return row.status();
  return absl::ResourceExhaustedError(user + " has " + std::to_string(there) + " runs waiting, and " +
                                      std::to_string(more) + " more are over the quota of " +
                                      std::to_string(bounds.open_runs) + "; wait until some have run, or cancel some");
}

static absl::StatusOr<int64_t> SelectBytes(Connection& connection, const std::string& owner) {
  Statement row = connection.Prepare(sql::kSelectBytesOf);
  const int64_t bytes = row.Bind(owner).Next() ? row.Int(0) : 0;
  if (!row.status().ok()) return row.status();
  return bytes;
}

absl::Status CheckBytes(Connection& connection, const Bounds& bounds, const std::string& user) {
  if (bounds.stored_bytes == 0) return absl::OkStatus();
  const auto bytes = SelectBytes(connection, user);
  if (!bytes.ok() || *bytes <= bounds.stored_bytes) return bytes.status();
  return absl::ResourceExhaustedError(user + " would have " + std::to_string(*bytes) + " bytes on disk; the quota is " +
                                      std::to_string(bounds.stored_bytes) +
                                      "; delete studies that are not needed any more");
}

absl::Status Space::CheckReserve() const {
  const int64_t free = FreeDisk();
  if (free >= bounds_.reserve) return absl::OkStatus();
  constexpr int64_t kMebibyte = 1 << 20;
  return absl::ResourceExhaustedError("the disk of the data has " + std::to_string(free / kMebibyte) +
                                      " MiB left, and " + std::to_string(bounds_.reserve / kMebibyte) +
                                      " MiB are kept free for runs under way; delete studies that are not needed any "
                                      "more, or ask the operator for more room");
}

absl::StatusOr<int64_t> Space::BytesOf(const std::string& owner) {
  absl::StatusOr<int64_t> bytes = 0;
  const auto status = connections_.Read([&](Connection& connection) {
    bytes = SelectBytes(connection, owner);
    return bytes.status();
  });
  if (!status.ok()) return status;
  return bytes;
}

absl::StatusOr<std::map<std::string, int64_t>> Space::StoredBytes() {
  std::map<std::string, int64_t> bytes;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectStoredBytes);
    while (rows.Next()) bytes[rows.Text(0)] = rows.Int(1);
    return rows.status();
  });
  if (!status.ok()) return status;
  return bytes;
}

int64_t Space::FreeDisk() const {
  struct statvfs disk {};
  if (statvfs(directory_.c_str(), &disk) != 0) return std::numeric_limits<int64_t>::max();
  return static_cast<int64_t>(disk.f_bavail) * static_cast<int64_t>(disk.f_frsize);
}

}  // namespace gyrebox::store
