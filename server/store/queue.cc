// Waiting runs, and device use by user.
#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"

namespace gyrebox::store {

absl::StatusOr<std::vector<WaitingStudy>> Store::ListWaiting() {
  std::vector<WaitingStudy> waiting;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectWaiting);
    while (rows.Next()) {
      waiting.push_back({rows.Int(0), rows.Text(1), static_cast<int>(rows.Int(2)), static_cast<int>(rows.Int(3))});
    }
    return rows.status();
  });
  if (!status.ok()) return status;
  return waiting;
}

absl::StatusOr<QueuedRuns> Store::ListQueued(int64_t study, int limit) {
  QueuedRuns queued;
  queued.study = study;
  const auto status = Read([&](Connection& connection) -> absl::Status {
    {
      Statement rows = connection.Prepare(sql::kSelectQueuedRuns);
      rows.Bind(study, limit);
      while (rows.Next()) queued.runs.push_back(ToRun(rows));
      if (!rows.status().ok()) return rows.status();
    }
    Statement row = connection.Prepare(sql::kSelectStudy);
    if (row.Bind(study).Next()) queued.spec = ToStudy(row).spec();
    return row.status();
  });
  if (!status.ok()) return status;
  return queued;
}

absl::StatusOr<std::map<std::string, UserUse>> Store::ReadUse() {
  std::map<std::string, UserUse> use;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectUsers);
    while (rows.Next()) use[rows.Text(0)] = {rows.Real(1), rows.Int(2)};
    return rows.status();
  });
  if (!status.ok()) return status;
  return use;
}

absl::Status Store::WriteUse(const std::map<std::string, UserUse>& use) {
  return Write([&](Connection& connection) {
    absl::Status status;
    for (const auto& [name, used] : use) {
      status.Update(connection.Prepare(sql::kWriteUser).Bind(name, used.seconds, used.as_of).Run());
    }
    return status;
  });
}

}  // namespace gyrebox::store
