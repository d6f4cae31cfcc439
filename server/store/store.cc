// Opening, migration and recovery.
#include "store/store.h"

#include <spdlog/spdlog.h>

#include <iterator>
#include <set>
#include <tuple>

#include "store/backup.h"
#include "store/identity.h"
#include "store/integrity.h"
#include "store/sql/migrations.h"
#include "store/state_rows.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// First layout in which studies have their own copies of their start states.
constexpr int kLayoutOfStarts = 10;

static std::string DatabaseIn(const std::string& directory) { return directory + "/gyrebox.db"; }

absl::StatusOr<std::unique_ptr<Store>> Store::Open(const std::string& directory) {
  auto lock = DirectoryLock::Take(directory);
  if (!lock.ok()) return lock.status();
  GYREBOX_RETURN_IF_ERROR(CheckDirectory(directory));
  auto writer = OpenChecked(DatabaseIn(directory));
  if (!writer.ok()) return writer.status();
  GYREBOX_RETURN_IF_ERROR(CheckIdentity(**writer, directory));
  std::unique_ptr<Store> store(new Store(*std::move(lock), *std::move(writer), directory));
  GYREBOX_RETURN_IF_ERROR(store->Migrate());
  GYREBOX_RETURN_IF_ERROR(NoteIdentity(store->connections_.writer(), directory));
  GYREBOX_RETURN_IF_ERROR(store->studies_.EndInterruptedSlices());
  GYREBOX_RETURN_IF_ERROR(store->deletion_.EraseAll());
  GYREBOX_RETURN_IF_ERROR(store->queue_.RecoverInterrupted());
  GYREBOX_RETURN_IF_ERROR(store->states_.Sweep());
  return store;
}

Store::Store(std::unique_ptr<DirectoryLock> lock, std::unique_ptr<Connection> writer, const std::string& directory)
    : lock_(std::move(lock)),
      directory_(directory),
      connections_(std::move(writer), DatabaseIn(directory)),
      files_(directory) {}

absl::Status Store::Migrate() {
  int64_t done = 0;
  {
    Statement version = connections_.writer().Prepare("PRAGMA user_version");
    if (version.Next()) done = version.Int(0);
    if (!version.status().ok()) return version.status();
  }
  constexpr int64_t kCount = std::size(sql::kMigrations);
  if (done > kCount)
    return absl::FailedPreconditionError(connections_.path() + " was made by a newer version of this server");
  if (done > 0 && done < kCount) {
    const auto copy = BackupBefore(connections_.writer(), directory_, static_cast<int>(kCount));
    if (!copy.ok()) return copy.status();
    spdlog::info(
        "the store is of an older version and is changed to this one now; it was copied to {} first, which "
        "may be deleted later",
        *copy);
  }
  if (done == kCount) return absl::OkStatus();
  // One transaction: statements of today need the layout of today.
  return connections_.Write([&](Connection& connection) {
    absl::Status made = absl::OkStatus();
    for (int64_t step = done; step < kCount && made.ok(); ++step) made = connection.Execute(sql::kMigrations[step]);
    if (made.ok() && done < kLayoutOfStarts) made = TakeOldStarts(connection, files_.path());
    if (made.ok()) made = connection.Execute("PRAGMA user_version = " + std::to_string(kCount));
    return made;
  });
}

}  // namespace gyrebox::store
