// Creation, queries and cancellation of studies.
#include "store/studies.h"

#include <algorithm>

#include "store/connections.h"
#include "store/requests.h"
#include "store/rows.h"
#include "store/space.h"
#include "store/spec_hash.h"
#include "store/sql/journals.h"
#include "store/sql/runs.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

absl::Status NoStudy(int64_t id) { return absl::NotFoundError("there is no study studies/" + std::to_string(id)); }

absl::StatusOr<v1::Study> SelectStudy(Connection& connection, int64_t id) {
  v1::Study study;
  bool cancelled = false;
  {
    Statement row = connection.Prepare(sql::kSelectStudy);
    if (!row.Bind(id).Next()) return row.status().ok() ? NoStudy(id) : row.status();
    study = ToStudy(row);
    cancelled = row.Int(5) != 0;
  }
  GYREBOX_RETURN_IF_ERROR(AddCounts(connection, id, cancelled, &study));
  Statement labels = connection.Prepare(sql::kSelectLabels);
  labels.Bind(id);
  while (labels.Next()) study.add_labels(labels.Text(0));
  if (!labels.status().ok()) return labels.status();
  return study;
}

absl::StatusOr<int64_t> InsertStudy(Connection& connection, const v1::StudySpec& spec, const std::string& owner) {
  const std::string bytes = spec.SerializeAsString();
  Statement insert = connection.Prepare(sql::kInsertStudy);
  const std::string hash = HashOf(spec);
  insert.Bind(Statement::AsBlob(bytes), NowMilliseconds(), owner, Statement::AsBlob(hash));
  if (!insert.Next()) return insert.status();
  return insert.Int(0);
}

absl::Status SetSpec(Connection& connection, int64_t id, const v1::StudySpec& spec) {
  const std::string bytes = spec.SerializeAsString(), hash = HashOf(spec);
  return connection.Prepare(sql::kSetSpec).Bind(id, Statement::AsBlob(bytes), Statement::AsBlob(hash)).Run();
}

absl::StatusOr<std::optional<v1::Study>> Studies::FindEqual(const v1::StudySpec& spec) {
  const std::string hash = HashOf(spec);
  std::optional<v1::Study> found;
  const auto status = connections_.Read([&](Connection& connection) -> absl::Status {
    int64_t id = 0;
    {
      Statement row = connection.Prepare(sql::kSelectEqualStudy);
      if (row.Bind(Statement::AsBlob(hash)).Next()) id = row.Int(0);
      if (!row.status().ok() || id == 0) return row.status();
    }
    auto study = SelectStudy(connection, id);
    if (study.ok()) found = *std::move(study);
    return study.status();
  });
  if (!status.ok()) return status;
  return found;
}

absl::Status InsertRun(Connection& connection, int64_t study, int64_t number, const NewRun& run, int priority,
                       int64_t change, int state) {
  const auto& values = run.plan.axis_values;
  const auto& seeds = run.plan.seeds;
  return connection.Prepare(sql::kInsertRun)
      .Bind(study, number, Statement::AsBlob(values.data(), values.size() * sizeof(double)), run.plan.trial,
            static_cast<int64_t>(seeds.positions()), static_cast<int64_t>(seeds.noise()),
            static_cast<int64_t>(seeds.disorder()), run.bead_count, run.total_steps, priority, change, state,
            int64_t{run.plan.audit})
      .Run();
}

absl::StatusOr<v1::Study> Studies::Create(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                          const Request& asked, const std::string& owner, int priority, int64_t like) {
  Request request = asked;
  if (request.user.empty()) request.user = owner;
  GYREBOX_RETURN_IF_ERROR(space_.CheckReserve());
  if (Connections::TakesSlices(runs.size())) return CreateInSlices(spec, runs, request, owner, priority, like);
  const auto count = static_cast<int64_t>(runs.size());
  v1::Study study;
  const auto insert = [&](Connection& connection) -> absl::StatusOr<int64_t> {
    GYREBOX_RETURN_IF_ERROR(CheckRuns(connection, space_.bounds(), owner, count));
    const auto id = InsertStudy(connection, spec, owner);
    if (!id.ok()) return id;
    for (size_t i = 0; i < runs.size(); ++i) {
      const auto number = static_cast<int64_t>(i) + 1;
      GYREBOX_RETURN_IF_ERROR(InsertRun(connection, *id, number, runs[i], priority, /*change=*/1));
    }
    absl::Status done = CountBytesOfRuns(connection, *id, count);
    done.Update(TakeStart(connection, files_.path(), *id, spec, like));
    done.Update(WriteRequest(connection, request, {*id, count, {}}));
    done.Update(CheckBytes(connection, space_.bounds(), owner));
    // Remove it under the lock, as the next study gets the same number.
    if (!done.ok() && spec.start().has_saved()) files_.Remove({StartFileOf(*id)});
    return done.ok() ? id : done;
  };
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    const auto earlier = SelectRequest(connection, request);
    if (!earlier.ok()) return earlier.status();
    const auto id = earlier->has_value() ? (*earlier)->study : insert(connection);
    if (!id.ok()) return id.status();
    auto selected = SelectStudy(connection, *id);
    if (selected.ok()) study = *std::move(selected);
    return selected.status();
  });
  if (!status.ok()) return status;
  return study;
}

absl::StatusOr<v1::Study> Studies::Get(int64_t id) {
  absl::StatusOr<v1::Study> study = NoStudy(id);
  const auto status = connections_.Read([&](Connection& connection) {
    study = SelectStudy(connection, id);
    return study.status();
  });
  if (!status.ok()) return status;
  return study;
}

absl::StatusOr<std::vector<v1::Study>> Studies::List(int64_t below_id, int limit, const StudyFilter& filter) {
  std::vector<v1::Study> studies;
  const auto status = connections_.Read([&](Connection& connection) -> absl::Status {
    std::vector<int64_t> ids;
    {
      Statement rows = connection.Prepare(sql::kSelectStudyIds);
      rows.Bind(below_id, filter.owner, filter.label, filter.with_archived ? 1 : 0, limit);
      while (rows.Next()) ids.push_back(rows.Int(0));
      if (!rows.status().ok()) return rows.status();
    }
    for (const int64_t id : ids) {
      auto study = SelectStudy(connection, id);
      if (!study.ok()) return study.status();
      studies.push_back(*std::move(study));
    }
    return absl::OkStatus();
  });
  if (!status.ok()) return status;
  return studies;
}

/// See WholeStudy::adjusted.
static absl::StatusOr<std::map<int64_t, int64_t>> SelectAdjusted(Connection& connection, int64_t id) {
  std::map<int64_t, std::map<int64_t, int64_t>> steps;  // of changes that stand, by run and entry
  Statement rows = connection.Prepare(sql::kSelectJournals);
  rows.Bind(id);
  while (rows.Next()) {
    v1::Adjustment entry;
    entry.ParseFromString(rows.Text(1));
    if (entry.kind() == v1::Adjustment::KIND_CHANGE) steps[rows.Int(0)][rows.Int(2)] = entry.step();
    if (entry.kind() == v1::Adjustment::KIND_WITHDRAW) steps[rows.Int(0)].erase(entry.withdrawn_entry());
  }
  if (!rows.status().ok()) return rows.status();
  std::map<int64_t, int64_t> adjusted;
  for (const auto& [run, of_run] : steps) {
    for (const auto& [entry, step] : of_run) {
      const auto first = adjusted.try_emplace(run, step).first;
      first->second = std::min(first->second, step);
    }
  }
  return adjusted;
}

absl::StatusOr<WholeStudy> Studies::GetWhole(int64_t id) {
  WholeStudy whole;
  const auto status = connections_.Read([&](Connection& connection) -> absl::Status {
    auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    whole.study = *std::move(study);
    auto adjusted = SelectAdjusted(connection, id);
    if (!adjusted.ok()) return adjusted.status();
    whole.adjusted = *std::move(adjusted);
    Statement rows = connection.Prepare(sql::kSelectAllRuns);
    rows.Bind(id);
    while (rows.Next()) whole.runs.push_back(ToRun(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return whole;
}

absl::Status Studies::Cancel(int64_t id) {
  const auto marked = connections_.Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    if (study->state() == v1::Study::STATE_CANCELLED || study->state() == v1::Study::STATE_FINISHED) {
      const bool finished = study->state() == v1::Study::STATE_FINISHED;
      return absl::FailedPreconditionError(study->name() + " is " + (finished ? "finished" : "cancelled") + " already");
    }
    absl::Status status = connection.Prepare(sql::kCancelStudy).Bind(id).Run();
    status.Update(CountChange(connection, id));
    return status;
  });
  return marked.ok() ? CancelWaiting(id) : marked;
}

absl::StatusOr<std::string> Studies::GetOwner(int64_t id) {
  std::string owner;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectOwner);
    if (!row.Bind(id).Next()) return row.status().ok() ? NoStudy(id) : row.status();
    owner = row.Text(0);
    return absl::OkStatus();
  });
  if (!status.ok()) return status;
  return owner;
}

absl::StatusOr<bool> Studies::IsCancelled(int64_t id) {
  bool cancelled = false;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kIsCancelled);
    if (row.Bind(id).Next()) cancelled = row.Int(0) != 0;
    return row.status();
  });
  if (!status.ok()) return status;
  return cancelled;
}

absl::Status CountChange(Connection& connection, int64_t study) {
  return connection.Prepare(sql::kCountChange).Bind(study, NowMilliseconds()).Run();
}

absl::StatusOr<int64_t> CountRows(Statement& rows) {
  int64_t count = 0;
  while (rows.Next()) ++count;
  if (!rows.status().ok()) return rows.status();
  return count;
}

}  // namespace gyrebox::store
