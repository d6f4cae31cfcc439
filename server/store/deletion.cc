// Studies that go. One transaction says that a study is there no more; its rows and files then go a little at a time,
// so that what runs is never kept from writing for long.
#include "store/names.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"

namespace gyrebox::store {

/// Rows that are many or large, and how many of them one transaction erases: some MiB.
struct Bulk {
  const char* erase;
  int at_a_time;
};
constexpr Bulk kBulk[] = {{sql::kEraseSegments, 200}, {sql::kEraseFrames, 50}, {sql::kEraseFrameBeds, 50}};
/// The rest of a run is small.
constexpr int kRunsAtATime = 200;
constexpr size_t kDependantsNamed = 5;

int64_t SourceOf(const v1::StudySpec& spec) {
  if (!spec.start().has_saved()) return 0;
  const std::string& name = spec.start().saved().run();
  if (const auto state = ParseStateName(name)) return state->run.study;
  const auto run = ParseRunName(name);
  return run.ok() ? run->study : 0;
}

absl::Status Store::NoteSources() {
  return Write([](Connection& connection) {
    std::vector<std::pair<int64_t, int64_t>> sources;
    {
      Statement rows = connection.Prepare(sql::kSelectUnknownSources);
      while (rows.Next()) {
        v1::StudySpec spec;
        spec.ParseFromString(rows.Text(1));
        sources.emplace_back(rows.Int(0), SourceOf(spec));
      }
      if (!rows.status().ok()) return rows.status();
    }
    absl::Status status;
    for (const auto& [id, source] : sources) {
      status.Update(connection.Prepare(sql::kSetSource).Bind(id, source).Run());
    }
    return status;
  });
}

/// FAILED_PRECONDITION where a study starts from a state of this one.
static absl::Status CheckDependants(Connection& connection, int64_t id, const std::string& name) {
  std::vector<std::string> names;
  Statement rows = connection.Prepare(sql::kSelectDependants);
  rows.Bind(id);
  while (rows.Next()) names.push_back("studies/" + std::to_string(rows.Int(0)));
  if (!rows.status().ok() || names.empty()) return rows.status();
  std::string text;
  for (size_t i = 0; i < names.size() && i < kDependantsNamed; ++i) text += (i > 0 ? ", " : "") + names[i];
  if (names.size() > kDependantsNamed) text += " and more";
  return absl::FailedPreconditionError(text + (names.size() > 1 ? " start" : " starts") + " from a state of " + name +
                                       " and could not be repeated without it; delete " +
                                       (names.size() > 1 ? "those" : "that") + " first, or archive " + name);
}

static absl::Status MarkDeleted(Connection& connection, int64_t id, const v1::Study& study) {
  if (!study.has_end_time()) {
    return absl::FailedPreconditionError(study.name() + " has runs that are not at their end; cancel it first");
  }
  if (auto status = CheckDependants(connection, id, study.name()); !status.ok()) return status;
  return connection.Prepare(sql::kMarkDeleted).Bind(id).Run();
}

absl::Status Store::DeleteStudy(int64_t id, const std::string& etag) {
  return Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    if (auto status = CheckEtag(connection, id, *study, etag, /*whole=*/true); !status.ok()) return status;
    return MarkDeleted(connection, id, *study);
  });
}

absl::Status Store::DeleteDueStudy(int64_t id, double warned_seconds) {
  return Write([&](Connection& connection) -> absl::Status {
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

/// Erases some of what is many or large. @return whether there was any.
static absl::StatusOr<bool> EraseBulk(Connection& connection, int64_t id) {
  for (const Bulk& bulk : kBulk) {
    Statement rows = connection.Prepare(bulk.erase);
    rows.Bind(id, bulk.at_a_time);
    const bool any = rows.Next();
    if (const auto status = any ? rows.Run() : rows.status(); !status.ok()) return status;
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

static absl::Status EraseStudy(Connection& connection, int64_t id) {
  absl::Status status;
  for (const char* statement : sql::kEraseStudy) status.Update(connection.Prepare(statement).Bind(id).Run());
  return status;
}

absl::StatusOr<bool> Store::EraseSome() {
  std::vector<std::string> files;
  bool more = false;
  const auto status = Write([&](Connection& connection) -> absl::Status {
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
    return EraseStudy(connection, id);
  });
  if (!status.ok()) return status;
  RemoveFiles(files);  // those that stay, should the process end here, are swept when the store is opened next
  return more;
}

absl::Status Store::EraseAll() {
  for (;;) {
    const auto more = EraseSome();
    if (!more.ok() || !*more) return more.status();
  }
}

}  // namespace gyrebox::store
