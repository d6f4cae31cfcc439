// Reading of runs, and their exclusion.
#include "store/runs.h"

#include "store/names.h"
#include "store/rows.h"
#include "store/sql/runs.h"
#include "store/studies.h"

namespace gyrebox::store {

/// A run as seen in this transaction. NOT_FOUND.
static absl::StatusOr<v1::Run> SelectRun(Connection& connection, int64_t study, int64_t number) {
  Statement row = connection.Prepare(sql::kSelectRun);
  if (row.Bind(study, number).Next()) return ToRun(row);
  if (!row.status().ok()) return row.status();
  return absl::NotFoundError("there is no run " + NameOfRun(study, number));
}

absl::StatusOr<v1::Run> Runs::Get(int64_t study, int64_t number) {
  absl::StatusOr<v1::Run> run = absl::InternalError("not read");
  const auto status = connections_.Read([&](Connection& connection) {
    run = SelectRun(connection, study, number);
    return run.status();
  });
  if (!status.ok()) return status;
  return run;
}

/// Runs of a statement with a study, a number and a limit.
static absl::StatusOr<std::vector<v1::Run>> ListBy(const char* statement, Connections& connections, int64_t study,
                                                   int64_t above_number, int limit) {
  std::vector<v1::Run> runs;
  const auto status = connections.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(statement);
    rows.Bind(study, above_number, limit);
    while (rows.Next()) runs.push_back(ToRun(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<std::vector<v1::Run>> Runs::List(int64_t study, int64_t above_number, int limit) {
  return ListBy(sql::kSelectRuns, connections_, study, above_number, limit);
}

absl::StatusOr<std::vector<v1::Run>> Runs::ListOnDevice(int64_t study, int64_t above_number, int limit) {
  return ListBy(sql::kSelectRunsOnDevice, connections_, study, above_number, limit);
}

absl::StatusOr<std::vector<study::AuditedRun>> Runs::GetAudited(int64_t id) {
  std::vector<study::AuditedRun> runs;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectAuditedRuns);
    rows.Bind(id);
    while (rows.Next()) runs.push_back({ToAxisValues(rows.Text(0)), static_cast<int>(rows.Int(1))});
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<std::vector<v1::Run>> Runs::ListOpen(int64_t study) {
  std::vector<v1::Run> runs;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectOpenRuns);
    rows.Bind(study);
    while (rows.Next()) runs.push_back(ToRun(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<ChangedRuns> Runs::ListChanged(int64_t study, ChangeCursor after, int limit) {
  ChangedRuns changed;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectChangedRuns);
    rows.Bind(study, after.change, after.number, limit);
    while (rows.Next()) {
      changed.runs.push_back(ToRun(rows));
      changed.cursors.push_back({ChangeOf(rows), rows.Int(1)});
    }
    return rows.status();
  });
  if (!status.ok()) return status;
  return changed;
}

absl::StatusOr<int64_t> Runs::Count(v1::Run::State state) {
  int64_t count = 0;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kCountAllRuns);
    if (row.Bind(static_cast<int>(state)).Next()) count = row.Int(0);
    return row.status();
  });
  if (!status.ok()) return status;
  return count;
}

absl::StatusOr<int64_t> Runs::ReachedStep(int64_t study, int64_t number) {
  int64_t step = 0;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectReachedStep);
    if (row.Bind(study, number).Next()) step = row.Int(0);
    return row.status();
  });
  if (!status.ok()) return status;
  return step;
}

absl::StatusOr<v1::Run> Runs::Exclude(int64_t study, int64_t number, const std::optional<v1::Exclusion>& exclusion,
                                      const std::string& user) {
  absl::StatusOr<v1::Run> run = absl::InternalError("not read");
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    run = SelectRun(connection, study, number);
    if (!run.ok()) return run.status();
    if (!exclusion && !run->has_exclusion()) {
      return absl::FailedPreconditionError(run->name() + " is not left out");
    }
    const std::string bytes = exclusion ? exclusion->SerializeAsString() : "";
    absl::Status done;
    {
      Statement set = connection.Prepare(sql::kSetExclusion);
      set.Bind(study, number);
      if (exclusion) set.BindAt(3, Statement::AsBlob(bytes));
      done = set.Run();
    }
    const std::string which = "run " + std::to_string(number);
    done.Update(NoteEdit(connection, study, user,
                         exclusion ? "left " + which + " out: " + exclusion->reason() : "took " + which + " back in"));
    if (done.ok()) run = SelectRun(connection, study, number);
    return done.ok() ? run.status() : done;
  });
  if (!status.ok()) return status;
  return run;
}

}  // namespace gyrebox::store
