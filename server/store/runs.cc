// Queries for runs.
#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"

namespace gyrebox::store {

absl::StatusOr<v1::Run> Store::GetRun(int64_t study, int64_t number) {
  v1::Run run;
  const auto status = Read([&](Connection& connection) -> absl::Status {
    Statement row = connection.Prepare(sql::kSelectRun);
    if (row.Bind(study, number).Next()) {
      run = ToRun(row);
      return absl::OkStatus();
    }
    if (!row.status().ok()) return row.status();
    return absl::NotFoundError("there is no run studies/" + std::to_string(study) + "/runs/" + std::to_string(number));
  });
  if (!status.ok()) return status;
  return run;
}

absl::StatusOr<std::vector<v1::Run>> Store::ListRuns(int64_t study, int64_t above_number, int limit) {
  std::vector<v1::Run> runs;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectRuns);
    rows.Bind(study, above_number, limit);
    while (rows.Next()) runs.push_back(ToRun(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<std::vector<study::AuditedRun>> Store::GetAuditedRuns(int64_t id) {
  std::vector<study::AuditedRun> runs;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectAuditedRuns);
    rows.Bind(id);
    while (rows.Next()) runs.push_back({ToAxisValues(rows.Text(0)), static_cast<int>(rows.Int(1))});
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<std::vector<v1::Run>> Store::ListOpenRuns(int64_t study) {
  std::vector<v1::Run> runs;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectOpenRuns);
    rows.Bind(study);
    while (rows.Next()) runs.push_back(ToRun(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<ChangedRuns> Store::ListChangedRuns(int64_t study, ChangeCursor after, int limit) {
  ChangedRuns changed;
  const auto status = Read([&](Connection& connection) {
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

absl::StatusOr<int64_t> Store::CountRuns(v1::Run::State state) {
  int64_t count = 0;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kCountAllRuns);
    if (row.Bind(static_cast<int>(state)).Next()) count = row.Int(0);
    return row.status();
  });
  if (!status.ok()) return status;
  return count;
}

absl::StatusOr<std::map<int64_t, double>> Store::OpenWork() {
  std::map<int64_t, double> work;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kOpenWork);
    while (rows.Next()) work[rows.Int(0)] = rows.Real(1);
    return rows.status();
  });
  if (!status.ok()) return status;
  return work;
}

}  // namespace gyrebox::store
