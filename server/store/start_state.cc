// Start states of studies. Each study has its own copy, so that the source run may be deleted.
#include <filesystem>

#include "store/bed_bytes.h"
#include "store/names.h"
#include "store/sql/states.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "store/states.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

std::string StartFileOf(int64_t study) { return std::to_string(study) + "-start"; }

static absl::StatusOr<std::optional<StateRow>> SelectStart(Connection& connection, int64_t study) {
  std::optional<StateRow> state;
  Statement row = connection.Prepare(sql::kSelectStartState);
  if (row.Bind(study).Next()) state = ToStateRow(row);
  if (!row.status().ok()) return row.status();
  return state;
}

/// The state of this name, or the end state of the run of this name. NOT_FOUND.
static absl::StatusOr<StateRow> SelectNamed(Connection& connection, const std::string& name) {
  const auto of_state = ParseStateName(name);
  const auto run = of_state ? absl::StatusOr<RunName>(of_state->run) : ParseRunName(name);
  if (!run.ok()) return run.status();
  {
    Statement there = connection.Prepare(sql::kSelectOwner);
    if (!there.Bind(run->study).Next()) return there.status().ok() ? NoStudy(run->study) : there.status();
  }
  std::optional<StateRow> state;
  if (of_state) {
    Statement row = connection.Prepare(sql::kSelectStateAt);
    if (row.Bind(run->study, run->run, of_state->step).Next()) state = ToStateRow(row);
    if (!row.status().ok()) return row.status();
  } else {
    auto left = SelectLastState(connection, run->study, run->run, StateKind::kEnd);
    if (!left.ok()) return left.status();
    state = *std::move(left);
  }
  if (!state) return absl::NotFoundError("there is no state " + name);
  return *std::move(state);
}

static absl::Status Insert(Connection& connection, const std::string& states, int64_t study, const StateRow& state) {
  const std::string file = StartFileOf(study);
  absl::Status linked = LinkOrCopy(states + "/" + state.file, states + "/" + file);
  if (linked.ok()) linked = SyncDirectory(states);
  if (!linked.ok()) return linked;
  return connection.Prepare(sql::kInsertStartState)
      .Bind(study, state.bed.step, state.bed.time, file, state.length, static_cast<int64_t>(state.checksum),
            state.bed.side_x, state.bed.side_y)
      .Run();
}

absl::Status TakeStart(Connection& connection, const std::string& states, int64_t study, const v1::StudySpec& spec,
                       int64_t like) {
  if (!spec.start().has_saved()) return absl::OkStatus();
  auto own = like > 0 ? SelectStart(connection, like) : std::optional<StateRow>();
  if (!own.ok()) return own.status();
  if (own->has_value()) return Insert(connection, states, study, **own);
  const auto named = SelectNamed(connection, spec.start().saved().run());
  return named.ok() ? Insert(connection, states, study, *named) : named.status();
}

absl::Status TakeOldStarts(Connection& connection, const std::string& states) {
  std::vector<std::pair<int64_t, v1::StudySpec>> found;
  {
    Statement rows = connection.Prepare(sql::kSelectSpecs);
    while (rows.Next()) {
      v1::StudySpec spec;
      if (spec.ParseFromString(rows.Text(1)) && spec.start().has_saved()) found.emplace_back(rows.Int(0), spec);
    }
    if (!rows.status().ok()) return rows.status();
  }
  for (const auto& [study, spec] : found) {
    const auto named = SelectNamed(connection, spec.start().saved().run());
    if (!named.ok() && !absl::IsNotFound(named.status()) && !absl::IsInvalidArgument(named.status())) {
      return named.status();
    }
    std::error_code ignored;
    if (!named.ok() || !std::filesystem::exists(states + "/" + named->file, ignored)) continue;
    GYREBOX_RETURN_IF_ERROR(Insert(connection, states, study, *named));
  }
  return absl::OkStatus();
}

absl::StatusOr<BedBytes> States::GetStart(int64_t study) {
  std::optional<StateRow> found;
  const auto status = connections_.Read([&](Connection& connection) {
    auto own = SelectStart(connection, study);
    if (own.ok()) found = *std::move(own);
    return own.status();
  });
  if (!status.ok()) return status;
  if (!found) {
    return absl::DataLossError("the state that studies/" + std::to_string(study) + " starts from is not there");
  }
  return files_.Read(*found);
}

}  // namespace gyrebox::store
