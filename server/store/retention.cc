// Rules of retention: deletable studies and their warnings.
#include <algorithm>

#include "store/deletion.h"
#include "store/sql/deletion.h"

namespace gyrebox::store {

absl::StatusOr<DeletableStudies> Deletion::ListDeletable() {
  DeletableStudies found;
  const auto status = connections_.Read([&](Connection& connection) {
    {
      Statement row = connection.Prepare(sql::kSelectAllBytes);
      if (row.Next()) {
        found.all_bytes = row.Int(0);
        found.warned_count = row.Int(1);
      }
      if (!row.status().ok()) return row.status();
    }
    Statement rows = connection.Prepare(sql::kSelectDeletable);
    while (rows.Next()) {
      found.studies.push_back({rows.Int(0), rows.Text(1), rows.Int(2), rows.Int(3), rows.Int(4), rows.Real(5)});
    }
    return rows.status();
  });
  if (!status.ok()) return status;
  return found;
}

absl::Status Deletion::SetWarnings(std::span<const Warning> warnings, double seconds_run) {
  return connections_.Write([&](Connection& connection) {
    std::vector<int64_t> warned;
    {
      Statement rows = connection.Prepare(sql::kSelectWarned);
      while (rows.Next()) warned.push_back(rows.Int(0));
      if (!rows.status().ok()) return rows.status();
    }
    absl::Status status = connection.Prepare(sql::kCountWarnedSeconds).Bind(seconds_run).Run();
    for (const int64_t id : warned) {
      const auto holds = [&](const Warning& warning) { return warning.study == id; };
      if (std::any_of(warnings.begin(), warnings.end(), holds)) continue;
      status.Update(connection.Prepare(sql::kDropWarning).Bind(id).Run());
    }
    for (const Warning& warning : warnings) {
      status.Update(connection.Prepare(sql::kWarn).Bind(warning.study, warning.delete_time, warning.reason).Run());
    }
    return status;
  });
}

}  // namespace gyrebox::store
