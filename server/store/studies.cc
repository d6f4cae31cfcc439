// Studies: taken in, looked at, cancelled.
#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"

namespace gyrebox::store {

static absl::Status NoStudy(int64_t id) {
  return absl::NotFoundError("there is no study studies/" + std::to_string(id));
}

absl::StatusOr<v1::Study> SelectStudy(Connection& connection, int64_t id) {
  v1::Study study;
  bool cancelled = false;
  {
    Statement row = connection.Prepare(sql::kSelectStudy);
    if (!row.Bind(id).Next()) return row.status().ok() ? NoStudy(id) : row.status();
    study = ToStudy(row);
    cancelled = row.Int(5) != 0;
  }
  if (auto status = AddCounts(connection, id, cancelled, &study); !status.ok()) return status;
  Statement labels = connection.Prepare(sql::kSelectLabels);
  labels.Bind(id);
  while (labels.Next()) study.add_labels(labels.Text(0));
  if (!labels.status().ok()) return labels.status();
  return study;
}

static absl::StatusOr<std::optional<int64_t>> SelectRequest(Connection& connection, const std::string& request_id) {
  if (request_id.empty()) return std::nullopt;
  Statement row = connection.Prepare(sql::kFindRequest);
  if (row.Bind(request_id).Next()) return row.Int(0);
  if (!row.status().ok()) return row.status();
  return std::nullopt;
}

static absl::StatusOr<int64_t> InsertStudy(Connection& connection, const v1::StudySpec& spec,
                                           const std::string& request_id, const std::string& owner) {
  const std::string bytes = spec.SerializeAsString();
  Statement insert = connection.Prepare(sql::kInsertStudy);
  insert.Bind(Statement::AsBlob(bytes), request_id, NowMilliseconds(), owner, SourceOf(spec));
  if (!insert.Next()) return insert.status();
  return insert.Int(0);
}

/// The study that another is to start from may have been deleted since it was looked at.
static absl::Status CheckSource(Connection& connection, const v1::StudySpec& spec) {
  const int64_t source = SourceOf(spec);
  if (source == 0) return absl::OkStatus();
  Statement row = connection.Prepare(sql::kSelectOwner);
  return row.Bind(source).Next() || !row.status().ok() ? row.status() : NoStudy(source);
}

absl::Status InsertRun(Connection& connection, int64_t study, int64_t number, const NewRun& run, int priority,
                       int64_t change) {
  const auto& values = run.plan.axis_values;
  const auto& seeds = run.plan.seeds;
  return connection.Prepare(sql::kInsertRun)
      .Bind(study, number, Statement::AsBlob(values.data(), values.size() * sizeof(double)), run.plan.trial,
            static_cast<int64_t>(seeds.places()), static_cast<int64_t>(seeds.noise()),
            static_cast<int64_t>(seeds.disorder()), run.bead_count, run.total_steps, priority, change, int64_t{run.plan.audit})
      .Run();
}

absl::StatusOr<v1::Study> Store::CreateStudy(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                             const std::string& request_id, const std::string& owner, int priority) {
  v1::Study study;
  const auto status = Write([&](Connection& connection) -> absl::Status {
    auto earlier = SelectRequest(connection, request_id);
    if (!earlier.ok()) return earlier.status();
    int64_t id = earlier->value_or(0);
    if (!earlier->has_value()) {
      if (auto source = CheckSource(connection, spec); !source.ok()) return source;
      const auto inserted = InsertStudy(connection, spec, request_id, owner);
      if (!inserted.ok()) return inserted.status();
      id = *inserted;
      for (size_t i = 0; i < runs.size(); ++i) {
        const auto number = static_cast<int64_t>(i) + 1;
        if (auto run = InsertRun(connection, id, number, runs[i], priority, /*change=*/1); !run.ok()) return run;
      }
    }
    auto selected = SelectStudy(connection, id);
    if (selected.ok()) study = *std::move(selected);
    return selected.status();
  });
  if (!status.ok()) return status;
  return study;
}

absl::StatusOr<v1::Study> Store::GetStudy(int64_t id) {
  absl::StatusOr<v1::Study> study = NoStudy(id);
  const auto status = Read([&](Connection& connection) {
    study = SelectStudy(connection, id);
    return study.status();
  });
  if (!status.ok()) return status;
  return study;
}

absl::StatusOr<std::optional<v1::Study>> Store::FindRequest(const std::string& request_id) {
  std::optional<v1::Study> found;
  const auto status = Read([&](Connection& connection) -> absl::Status {
    const auto id = SelectRequest(connection, request_id);
    if (!id.ok() || !id->has_value()) return id.status();
    auto study = SelectStudy(connection, **id);
    if (study.ok()) found = *std::move(study);
    return study.status();
  });
  if (!status.ok()) return status;
  return found;
}

absl::StatusOr<std::vector<v1::Study>> Store::ListStudies(int64_t below_id, int limit, const StudyFilter& filter) {
  std::vector<v1::Study> studies;
  const auto status = Read([&](Connection& connection) -> absl::Status {
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

/// Numbers of the runs with a change of a person in their journals.
static absl::StatusOr<std::set<int64_t>> SelectAdjusted(Connection& connection, int64_t id) {
  std::set<int64_t> numbers;
  Statement rows = connection.Prepare(sql::kSelectJournals);
  rows.Bind(id);
  while (rows.Next()) {
    v1::Adjustment entry;
    entry.ParseFromString(rows.Text(1));
    if (entry.kind() == v1::Adjustment::KIND_CHANGE) numbers.insert(rows.Int(0));
  }
  if (!rows.status().ok()) return rows.status();
  return numbers;
}

absl::StatusOr<WholeStudy> Store::GetWholeStudy(int64_t id) {
  WholeStudy whole;
  const auto status = Read([&](Connection& connection) -> absl::Status {
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

absl::Status Store::CancelStudy(int64_t id) {
  return Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    if (study->state() == v1::Study::STATE_CANCELLED || study->state() == v1::Study::STATE_FINISHED) {
      const bool finished = study->state() == v1::Study::STATE_FINISHED;
      return absl::FailedPreconditionError(study->name() + " is " + (finished ? "finished" : "cancelled") + " already");
    }
    absl::Status status = connection.Prepare(sql::kCancelStudy).Bind(id).Run();
    status.Update(connection.Prepare(sql::kCancelWaitingRuns).Bind(id, NowMilliseconds()).Run());
    status.Update(CountChange(connection, id));
    return status;
  });
}

absl::StatusOr<std::string> Store::GetOwner(int64_t id) {
  std::string owner;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectOwner);
    if (!row.Bind(id).Next()) return row.status().ok() ? NoStudy(id) : row.status();
    owner = row.Text(0);
    return absl::OkStatus();
  });
  if (!status.ok()) return status;
  return owner;
}

absl::StatusOr<bool> Store::IsCancelled(int64_t id) {
  bool cancelled = false;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kIsCancelled);
    if (row.Bind(id).Next()) cancelled = row.Int(0) != 0;
    return row.status();
  });
  if (!status.ok()) return status;
  return cancelled;
}

}  // namespace gyrebox::store
