// Opening, migration and recovery; transactions for all other files.
#include "store/store.h"

#include <spdlog/spdlog.h>

#include <iterator>
#include <set>
#include <tuple>

#include "store/backup.h"
#include "store/identity.h"
#include "store/integrity.h"
#include "store/rows.h"
#include "store/sql/migrations.h"
#include "store/sql/statements.h"
#include "store/writes.h"
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
  GYREBOX_RETURN_IF_ERROR(NoteIdentity(*store->writer_, directory));
  GYREBOX_RETURN_IF_ERROR(store->EndCutOffSlices());
  GYREBOX_RETURN_IF_ERROR(store->EraseAll());
  GYREBOX_RETURN_IF_ERROR(store->RecoverInterruptedRuns());
  GYREBOX_RETURN_IF_ERROR(store->SweepStates());
  return store;
}

Store::Store(std::unique_ptr<DirectoryLock> lock, std::unique_ptr<Connection> writer, const std::string& directory)
    : lock_(std::move(lock)),
      writer_(std::move(writer)),
      directory_(directory),
      path_(DatabaseIn(directory)),
      states_(directory + "/states") {}

absl::Status Store::Migrate() {
  int64_t done = 0;
  {
    Statement version = writer_->Prepare("PRAGMA user_version");
    if (version.Next()) done = version.Int(0);
    if (!version.status().ok()) return version.status();
  }
  constexpr int64_t kCount = std::size(sql::kMigrations);
  if (done > kCount) return absl::FailedPreconditionError(path_ + " was made by a newer version of this server");
  if (done > 0 && done < kCount) {
    const auto copy = BackupBefore(*writer_, directory_, static_cast<int>(kCount));
    if (!copy.ok()) return copy.status();
    spdlog::info(
        "the store is of an older version and is changed to this one now; it was copied to {} first, which "
        "may be deleted later",
        *copy);
  }
  if (done == kCount) return absl::OkStatus();
  // One transaction: statements of today need the layout of today.
  return Write([&](Connection& connection) {
    absl::Status made = absl::OkStatus();
    for (int64_t step = done; step < kCount && made.ok(); ++step) made = connection.Execute(sql::kMigrations[step]);
    if (made.ok() && done < kLayoutOfStarts) made = TakeOldStarts(connection, states_);
    if (made.ok()) made = connection.Execute("PRAGMA user_version = " + std::to_string(kCount));
    return made;
  });
}

/// Drops the checkpoints of ended runs. Adds files that no state uses any more to `unused`.
static absl::Status DropCheckpointsOfTheEnded(Connection& connection, std::vector<std::string>* unused) {
  std::vector<std::tuple<int64_t, int64_t, std::string>> dropped;
  {
    Statement rows = connection.Prepare(sql::kDropCheckpointsOfTheEnded);
    while (rows.Next()) dropped.emplace_back(rows.Int(0), rows.Int(1), rows.Text(2));
    if (!rows.status().ok()) return rows.status();
  }
  for (const auto& [study, run, file] : dropped) {
    Statement used = connection.Prepare(sql::kFileIsUsed);
    if (!used.Bind(study, run, file).Next()) unused->push_back(file);
    if (!used.status().ok()) return used.status();
  }
  return absl::OkStatus();
}

absl::Status Store::RecoverInterruptedRuns() {
  struct CutOff {
    int64_t study, number;
    bool cancelled;
  };
  std::vector<std::string> unused;
  const auto taken_up = Write([&unused](Connection& connection) {
    std::vector<CutOff> runs;
    {
      Statement found = connection.Prepare(sql::kSelectCutOffRuns);
      while (found.Next()) runs.push_back({found.Int(0), found.Int(1), found.Int(2) != 0});
      if (!found.status().ok()) return found.status();
    }
    absl::Status status;
    std::set<int64_t> studies;
    for (const CutOff& run : runs) {
      status.Update(run.cancelled
                        ? connection.Prepare(sql::kCancelCutOffRun).Bind(run.study, run.number, NowMilliseconds()).Run()
                        : RollBack(connection, run.study, run.number));
      studies.insert(run.study);
    }
    status.Update(DropCheckpointsOfTheEnded(connection, &unused));
    for (const int64_t study : studies) status.Update(CountChange(connection, study));
    return status;
  });
  if (taken_up.ok()) RemoveFiles(unused);
  return taken_up;
}

absl::Status CountChange(Connection& connection, int64_t study) {
  return connection.Prepare(sql::kCountChange).Bind(study, NowMilliseconds()).Run();
}

absl::Status Store::Write(const Work& work) {
  std::lock_guard lock(write_mutex_);
  Transaction transaction(*writer_, Transaction::Kind::kWrite);
  if (!transaction.status().ok()) return transaction.status();
  GYREBOX_RETURN_IF_ERROR(work(*writer_));
  return transaction.Commit();
}

absl::Status Store::Read(const Work& work) {
  std::unique_ptr<Connection> reader;
  {
    std::lock_guard lock(readers_mutex_);
    if (!readers_.empty()) {
      reader = std::move(readers_.back());
      readers_.pop_back();
    }
  }
  if (reader == nullptr) {
    auto opened = Connection::Open(path_, Connection::Mode::kRead);
    if (!opened.ok()) return opened.status();
    reader = *std::move(opened);
  }
  absl::Status status;
  {
    Transaction snapshot(*reader, Transaction::Kind::kRead);
    status = snapshot.status().ok() ? work(*reader) : snapshot.status();
  }
  std::lock_guard lock(readers_mutex_);
  readers_.push_back(std::move(reader));
  return status;
}

}  // namespace gyrebox::store
