// Deletion of studies. One transaction marks a study as deleted; its rows and files are then erased in small parts, so
// that runs are never kept from writing for long.
#include "store/deletion.h"

#include "store/runs.h"
#include "store/sql/deletion.h"
#include "store/sql/requests.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// Tables with many or large rows, and the rows that one transaction erases: a few MiB.
struct Bulk {
  const char* erase;
  int at_a_time;
};
constexpr Bulk kBulk[] = {{sql::kEraseSegments, 200}, {sql::kEraseFrames, 50}, {sql::kEraseFrameBeds, 50}};
/// Runs erased per transaction, once their bulk rows are gone.
constexpr int kRunsAtATime = 200;

static absl::Status MarkDeleted(Connection& connection, int64_t id, const v1::Study& study) {
  if (!study.has_end_time()) {
    return absl::FailedPreconditionError(study.name() + " has runs that are not at their end; cancel it first");
  }
  absl::Status status = connection.Prepare(sql::kDropRequests).Bind(id).Run();
  status.Update(connection.Prepare(sql::kMarkDeleted).Bind(id).Run());
  return status;
}

absl::Status Deletion::Delete(int64_t id, const std::string& etag) {
  return connections_.Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    GYREBOX_RETURN_IF_ERROR(CheckEtag(connection, id, *study, etag, /*whole=*/true));
    return MarkDeleted(connection, id, *study);
  });
}

absl::Status Deletion::DeleteDue(int64_t id, double warned_seconds) {
  return connections_.Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    {
      Statement due = connection.Prepare(sql::kIsDue);
      if (!due.Bind(id, warned_seconds).Next()) {
        return due.status().ok() ? absl::FailedPreconditionError(study->name() + " is to be kept") : due.status();
      }
    }
    return MarkDeleted(connection, id, *study);
  });
}

/// Erases some bulk rows. @return whether there were any.
static absl::StatusOr<bool> EraseBulk(Connection& connection, int64_t id) {
  for (const Bulk& bulk : kBulk) {
    Statement rows = connection.Prepare(bulk.erase);
    rows.Bind(id, bulk.at_a_time);
    const bool any = rows.Next();
    GYREBOX_RETURN_IF_ERROR(any ? rows.Run() : rows.status());
    if (any) return true;
  }
  return false;
}

/// Erases the first runs of a study with their states and journals. @return whether there were any.
static absl::StatusOr<bool> EraseRuns(Connection& connection, int64_t id, std::vector<std::string>* files) {
  {
    Statement states = connection.Prepare(sql::kEraseStates);
    states.Bind(id, kRunsAtATime);
    while (states.Next()) files->push_back(states.Text(0));
    if (!states.status().ok()) return states.status();
  }
  absl::Status status = connection.Prepare(sql::kEraseJournals).Bind(id, kRunsAtATime).Run();
  if (!status.ok()) return status;
  std::set<int64_t> lists;
  int count = 0;
  {
    Statement runs = connection.Prepare(sql::kEraseRuns);
    runs.Bind(id, kRunsAtATime);
    for (; runs.Next(); ++count) lists.insert(runs.Int(0));
    if (!runs.status().ok()) return runs.status();
  }
  for (const int64_t list : lists) status.Update(connection.Prepare(sql::kEraseObservables).Bind(list).Run());
  if (!status.ok()) return status;
  return count > 0;
}

static absl::Status EraseStudy(Connection& connection, int64_t id, std::vector<std::string>* files) {
  {
    Statement start = connection.Prepare(sql::kEraseStartState);
    start.Bind(id);
    while (start.Next()) files->push_back(start.Text(0));
    if (!start.status().ok()) return start.status();
  }
  absl::Status status;
  for (const char* statement : sql::kEraseStudy) status.Update(connection.Prepare(statement).Bind(id).Run());
  return status;
}

absl::StatusOr<bool> Deletion::EraseSome() {
  std::vector<std::string> files;
  bool more = false;
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    int64_t id = 0;
    {
      Statement row = connection.Prepare(sql::kSelectDeleted);
      if (!row.Next()) return row.status();
      id = row.Int(0);
    }
    more = true;
    const auto bulk = EraseBulk(connection, id);
    if (!bulk.ok() || *bulk) return bulk.status();
    const auto runs = EraseRuns(connection, id, &files);
    if (!runs.ok() || *runs) return runs.status();
    return EraseStudy(connection, id, &files);
  });
  if (!status.ok()) return status;
  files_.Remove(files);  // if the process ends here, the next Open() moves the remaining files away
  return more;
}

absl::Status Deletion::EraseAll() {
  for (;;) {
    const auto more = EraseSome();
    if (!more.ok() || !*more) return more.status();
  }
}

}  // namespace gyrebox::store
