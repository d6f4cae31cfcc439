#include "store/backup.h"

#include <chrono>
#include <filesystem>
#include <set>
#include <thread>

#include "store/identity.h"
#include "store/rows.h"
#include "store/sql/identity.h"
#include "store/sql/migrations.h"
#include "store/sql/states.h"
#include "store/state_file.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// Pages (a few MiB) between two pauses, so that a running server keeps most of the disk bandwidth.
constexpr int kPagesAtATime = 1024;
constexpr std::chrono::milliseconds kPause{5};
/// A running server may drop a checkpoint before it is copied; the copy then restarts from a later snapshot.
constexpr int kCopyTries = 20;

static absl::StatusOr<std::vector<KnownFile>> SelectFiles(Connection& connection) {
  std::vector<KnownFile> files;
  Statement rows = connection.Prepare(sql::kSelectKnownFiles);
  while (rows.Next())
    files.push_back({rows.Text(0), rows.Int(1), static_cast<uint32_t>(rows.Int(2)), rows.Int(3) != 0});
  if (!rows.status().ok()) return rows.status();
  return files;
}

/// Copies the database as seen by the transaction of the connection, so that other writes do not restart the copy.
static absl::Status CopyDatabase(Connection& from, const std::string& path, bool pauses) {
  auto to = Connection::Create(path);
  if (!to.ok()) return to.status();
  sqlite3_backup* backup = sqlite3_backup_init((*to)->raw(), "main", from.raw(), "main");
  if (backup == nullptr) return (*to)->LastError();
  int code = SQLITE_OK;
  while ((code = sqlite3_backup_step(backup, kPagesAtATime)) == SQLITE_OK) {
    if (pauses) std::this_thread::sleep_for(kPause);
  }
  sqlite3_backup_finish(backup);
  return code == SQLITE_DONE ? absl::OkStatus() : (*to)->LastError();
}

static absl::Status MarkAsCopy(const std::string& path) {
  auto copy = Connection::Open(path, Connection::Mode::kWrite);
  if (!copy.ok()) return copy.status();
  return (*copy)->Prepare(sql::kSetCopyTime).Bind(NowMilliseconds()).Run();
}

/// Links all files first, before a server drops any. False if a checkpoint has gone meanwhile.
static absl::StatusOr<bool> LinkAll(const std::string& from, const std::string& to, bool last_try,
                                    std::vector<KnownFile>* files, Copied* copied) {
  std::vector<KnownFile> there;
  for (const KnownFile& file : *files) {
    std::error_code none;
    const auto status = std::filesystem::exists(from + "/" + file.name, none)
                            ? LinkOrCopy(from + "/" + file.name, to + "/" + file.name)
                            : absl::NotFoundError("");
    std::error_code gone;
    if (!status.ok() && std::filesystem::exists(from + "/" + file.name, gone)) return status;
    if (!status.ok() && file.is_checkpoint && !last_try) return false;
    if (status.ok()) there.push_back(file);
    if (!status.ok()) copied->damaged.push_back(file.name);
  }
  *files = std::move(there);
  return true;
}

static void CheckAll(const std::string& states, const std::vector<KnownFile>& files, Copied* copied) {
  for (const KnownFile& file : files) {
    if (ReadWhole(states + "/" + file.name, file.length, file.checksum).ok()) {
      ++copied->states;
      continue;
    }
    std::error_code ignored;
    std::filesystem::remove(states + "/" + file.name, ignored);
    copied->damaged.push_back(file.name);
  }
}

static absl::Status CheckLayout(Connection& connection, const std::string& from) {
  constexpr int64_t kLayout = std::size(sql::kMigrations);
  Statement version = connection.Prepare("PRAGMA user_version");
  const int64_t layout = version.Next() ? version.Int(0) : 0;
  if (!version.status().ok() || layout == kLayout) return version.status();
  return absl::FailedPreconditionError(from + " is a store of " + (layout < kLayout ? "an older" : "a newer") +
                                       " version; copy it with that version");
}

/// One attempt. False if a checkpoint has gone meanwhile.
static absl::StatusOr<bool> Copy(Connection& connection, const std::string& from, const std::string& to, bool last_try,
                                 Copied* copied) {
  const std::string states = to + "/states";
  GYREBOX_RETURN_IF_ERROR(MakeDirectory(states));
  Transaction snapshot(connection, Transaction::Kind::kRead);
  if (!snapshot.status().ok()) return snapshot.status();
  auto files = SelectFiles(connection);
  if (!files.ok()) return files.status();
  const auto linked = LinkAll(from + "/states", states, last_try, &*files, copied);
  if (!linked.ok() || !*linked) return linked;
  GYREBOX_RETURN_IF_ERROR(SyncDirectory(states));
  GYREBOX_RETURN_IF_ERROR(CopyDatabase(connection, to + "/gyrebox.db", /*pauses=*/true));
  CheckAll(states, *files, copied);
  return true;
}

static absl::Status Finish(const std::string& draft, const std::string& to) {
  {
    auto copy = Connection::Open(draft + "/gyrebox.db", Connection::Mode::kWrite);
    if (!copy.ok()) return copy.status();
    GYREBOX_RETURN_IF_ERROR(NoteIdentity(**copy, draft));
  }
  std::error_code error;
  std::filesystem::rename(draft, to, error);
  return error ? absl::InternalError("cannot rename " + draft + ": " + error.message()) : absl::OkStatus();
}

absl::StatusOr<Copied> Backup(const std::string& from, const std::string& to) {
  GYREBOX_RETURN_IF_ERROR(CheckFree(to));
  auto connection = Connection::Open(from + "/gyrebox.db", Connection::Mode::kRead);
  if (!connection.ok()) {
    return absl::FailedPreconditionError("there is no store in " + from + ": " +
                                         std::string(connection.status().message()));
  }
  GYREBOX_RETURN_IF_ERROR(CheckLayout(**connection, from));
  const std::string draft = to + ".part";
  std::error_code ignored;
  for (int tries = 1; tries <= kCopyTries; ++tries) {
    std::filesystem::remove_all(draft, ignored);
    Copied copied;
    auto done = Copy(**connection, from, draft, tries == kCopyTries, &copied);
    if (done.ok() && !*done) continue;
    absl::Status status = done.status();
    if (status.ok()) status.Update(MarkAsCopy(draft + "/gyrebox.db"));
    if (status.ok()) status.Update(Finish(draft, to));
    if (status.ok()) return copied;
    std::filesystem::remove_all(draft, ignored);
    return status;
  }
  return absl::InternalError("not reached");
}

absl::StatusOr<std::string> BackupBefore(Connection& connection, const std::string& directory, int layout) {
  const std::string name = directory + "/backup-before-" + std::to_string(layout);
  std::string to = name;
  for (int i = 2; std::filesystem::exists(to); ++i) to = name + "-" + std::to_string(i);
  const std::string draft = name + ".part";
  std::error_code error;
  std::filesystem::remove_all(draft, error);
  absl::Status status = MakeDirectory(draft + "/states");
  if (status.ok()) status = CopyDatabase(connection, draft + "/gyrebox.db", /*pauses=*/false);
  std::error_code none;
  for (const auto& entry : std::filesystem::directory_iterator(directory + "/states", none)) {
    const std::string file = "/states/" + entry.path().filename().string();
    if (status.ok() && entry.is_regular_file()) status = LinkOrCopy(directory + file, draft + file);
  }
  if (status.ok()) status = SyncDirectory(draft + "/states");
  if (status.ok()) {
    std::filesystem::rename(draft, to, error);
    if (error) status = absl::InternalError("cannot rename " + draft + ": " + error.message());
  }
  if (status.ok()) return to;
  std::filesystem::remove_all(draft, error);
  return absl::Status(status.code(),
                      "the store is of an older version and was left as it is, as it could not be "
                      "copied before it is changed: " +
                          std::string(status.message()));
}

}  // namespace gyrebox::store
