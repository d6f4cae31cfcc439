// Journals of runs, and the consequences of their entries.
#include "store/journals.h"

#include <google/protobuf/util/time_util.h>

#include "store/names.h"
#include "store/requests.h"
#include "store/sql/journals.h"
#include "store/sql/states.h"
#include "store/state_rows.h"
#include "store/studies.h"

namespace gyrebox::store {

absl::StatusOr<int64_t> WriteEntry(Connection& connection, int64_t study, int64_t number, const v1::Adjustment& entry) {
  const std::string bytes = entry.SerializeAsString();
  absl::Status status = connection.Prepare(sql::kInsertEntry).Bind(study, number, Statement::AsBlob(bytes)).Run();
  if (!status.ok()) return status;
  Statement count = connection.Prepare(sql::kCountEntry);
  const int64_t at = count.Bind(study, number).Next() ? count.Int(0) : 0;
  status = count.Run();
  if (!status.ok()) return status;
  return at;
}

absl::StatusOr<std::vector<v1::Adjustment>> Journals::Get(int64_t study, int64_t number, int64_t above) {
  const std::string parent = "studies/" + std::to_string(study) + "/runs/" + std::to_string(number) + "/adjustments/";
  std::vector<v1::Adjustment> entries;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectJournal);
    rows.Bind(study, number, above);
    while (rows.Next()) {
      ++entries_read_;
      v1::Adjustment& entry = entries.emplace_back();
      entry.ParseFromString(rows.Text(1));
      entry.set_name(parent + std::to_string(rows.Int(0)));
    }
    return rows.status();
  });
  if (!status.ok()) return status;
  return entries;
}

absl::Status Journals::Visit(int64_t study, int64_t first, int64_t last,
                             const std::function<void(int64_t, const v1::Adjustment&)>& visit) {
  return connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectJournalsOf);
    rows.Bind(study, first, last);
    for (v1::Adjustment entry; rows.Next(); ++entries_read_) {
      entry.ParseFromString(rows.Text(1));
      visit(rows.Int(0), entry);
    }
    return rows.status();
  });
}

/// Changes the state of a run. @param reason why the server holds it; empty if it does not.
static absl::Status Move(Connection& connection, int64_t study, int64_t number, v1::Run::State from, v1::Run::State to,
                         const std::string& reason = "") {
  return connection.Prepare(sql::kMoveRun)
      .Bind(study, number, static_cast<int>(from), static_cast<int>(to), reason)
      .Run();
}

/// Reopens a finished run. Its end state becomes a checkpoint and is also kept for the studies that start from it.
static absl::Status Reopen(Connection& connection, int64_t study, int64_t number) {
  absl::Status status =
      connection.Prepare(sql::kKeepState).Bind(study, number, static_cast<int>(StateKind::kEnd)).Run();
  status.Update(connection.Prepare(sql::kReopenState).Bind(study, number).Run());
  status.Update(connection.Prepare(sql::kReopenRun).Bind(study, number).Run());
  status.Update(TakeUp(connection, study));
  return status;
}

/// Applies the consequences of an entry to its run.
static absl::Status Follow(Connection& connection, int64_t study, const JournalWrite& write) {
  const v1::Adjustment& entry = write.entry;
  const auto set_end = [&](bool early) {
    return connection.Prepare(sql::kSetEnd)
        .Bind(study, write.number, static_cast<int64_t>(entry.total_steps()), early ? 1 : 0)
        .Run();
  };
  switch (entry.kind()) {
    case v1::Adjustment::KIND_PAUSE:
      return Move(connection, study, write.number, v1::Run::STATE_QUEUED, v1::Run::STATE_PAUSED, entry.reason());
    case v1::Adjustment::KIND_RESUME:
      return Move(connection, study, write.number, v1::Run::STATE_PAUSED, v1::Run::STATE_QUEUED);
    case v1::Adjustment::KIND_FINISH: {
      absl::Status status = set_end(/*early=*/true);
      // The run takes its last sample at its next turn.
      status.Update(Move(connection, study, write.number, v1::Run::STATE_PAUSED, v1::Run::STATE_QUEUED));
      return status;
    }
    case v1::Adjustment::KIND_EXTEND: {
      absl::Status status = set_end(/*early=*/false);
      if (write.before == v1::Run::STATE_FINISHED) status.Update(Reopen(connection, study, write.number));
      return status;
    }
    default:
      return absl::OkStatus();
  }
}

absl::Status Journals::Write(int64_t study, std::span<const JournalWrite> writes, const Request& request) {
  return connections_.Write([&](Connection& connection) {
    absl::Status status = SelectStudy(connection, study).status();  // it may have been deleted meanwhile
    Made made{study, static_cast<int64_t>(writes.size()), {}};
    for (const JournalWrite& write : writes) {
      if (!status.ok()) return status;
      const auto at = WriteEntry(connection, study, write.number, write.entry);
      status.Update(at.status());
      status.Update(Follow(connection, study, write));
      if (at.ok() && made.of_runs.size() < kMadeShown) made.of_runs.push_back({write.number, *at});
    }
    status.Update(WriteRequest(connection, request, made));
    status.Update(CountChange(connection, study));
    return status;
  });
}

absl::StatusOr<std::vector<v1::Adjustment>> Journals::GetEntries(const Made& made) {
  std::vector<v1::Adjustment> entries;
  const auto status = connections_.Read([&](Connection& connection) {
    for (const auto& [run, number] : made.of_runs) {
      Statement row = connection.Prepare(sql::kSelectEntry);
      if (!row.Bind(made.study, run, number).Next()) return row.status();
      v1::Adjustment& entry = entries.emplace_back();
      entry.ParseFromString(row.Text(0));
      entry.set_name(NameOfRun(made.study, run) + "/adjustments/" + std::to_string(number));
    }
    return absl::OkStatus();
  });
  if (!status.ok()) return status;
  return entries;
}

}  // namespace gyrebox::store
