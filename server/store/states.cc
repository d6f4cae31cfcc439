// States of runs: checkpoints, end states, and states kept for studies to start from.
#include "store/states.h"

#include <spdlog/spdlog.h>

#include <filesystem>
#include <set>

#include "store/bed_bytes.h"
#include "store/names.h"
#include "store/requests.h"
#include "store/space.h"
#include "store/sql/states.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

absl::StatusOr<BedBytes> States::GetEnd(int64_t study, int64_t number) {
  std::optional<StateRow> found;
  const auto status = connections_.Read([&](Connection& connection) {
    auto last = SelectLastState(connection, study, number, StateKind::kEnd);
    if (last.ok()) found = *std::move(last);
    return last.status();
  });
  if (!status.ok()) return status;
  if (!found) {
    return absl::FailedPreconditionError(NameOfRun(study, number) +
                                         " left no state; only a run that ran to its end does, with this version of "
                                         "the server");
  }
  return files_.Read(*found);
}

absl::StatusOr<BedBytes> States::GetAt(int64_t study, int64_t number, int64_t step) {
  std::optional<StateRow> found;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectStateAt);
    if (row.Bind(study, number, step).Next()) found = ToStateRow(row);
    return row.status();
  });
  if (!status.ok()) return status;
  if (!found) {
    return absl::NotFoundError("no state of " + NameOfRun(study, number) + " is kept at step " + std::to_string(step));
  }
  return files_.Read(*found);
}

absl::StatusOr<std::optional<Checkpoint>> States::GetCheckpoint(int64_t study, int64_t number) {
  std::optional<StateRow> found;
  const auto status = connections_.Read([&](Connection& connection) {
    auto last = SelectLastState(connection, study, number, StateKind::kCheckpoint);
    if (last.ok()) found = *std::move(last);
    return last.status();
  });
  if (!status.ok()) return status;
  if (!found) return std::nullopt;
  auto bed = files_.Read(*found);
  if (!bed.ok()) return bed.status();
  Checkpoint checkpoint{*std::move(bed), found->sample_count};
  if (checkpoint.sample_count > 0) {
    const auto last = series_.Read(study, number, checkpoint.sample_count - 1, 1);
    if (!last.ok()) return last.status();
    if (last->size() == 1) checkpoint.last_sample_step = static_cast<int64_t>(last->row(0)[0]);
  }
  return checkpoint;
}

absl::Status States::DropCheckpoint(int64_t study, int64_t number) {
  std::vector<std::string> unused;
  const absl::Status status = connections_.Write([&](Connection& connection) -> absl::Status {
    const auto last = SelectLastState(connection, study, number, StateKind::kCheckpoint);
    if (!last.ok() || !last->has_value()) return last.status();
    absl::Status done;
    {
      Statement dropping = connection.Prepare(sql::kDropCheckpoint);
      dropping.Bind(study, number, (*last)->bed.step);
      done = DropStates(connection, study, number, dropping, &unused);
    }
    done.Update(RollBack(connection, study, number));
    done.Update(CountChange(connection, study));
    return done;
  });
  if (status.ok()) files_.Remove(unused);
  return status;
}

static v1::SavedState ToSavedState(int64_t study, int64_t number, const StateRow& row) {
  v1::SavedState state;
  state.set_name(NameOfRun(study, number) + "/states/" + std::to_string(row.bed.step));
  state.set_step(row.bed.step);
  state.set_time(row.bed.time);
  state.set_byte_count(row.length);
  return state;
}

/// After a state is kept: checks the owner's limit on bytes and records the request.
static absl::Status NoteKept(Connection& connection, const Bounds& bounds, int64_t study, const Made::OfRun& made,
                             const Request& request) {
  std::string owner;
  {
    Statement row = connection.Prepare(sql::kSelectOwner);
    if (!row.Bind(study).Next()) return row.status().ok() ? NoStudy(study) : row.status();
    owner = row.Text(0);
  }
  absl::Status status = CheckBytes(connection, bounds, owner);
  status.Update(WriteRequest(connection, request, {study, 1, {made}}));
  return status;
}

absl::StatusOr<v1::SavedState> States::Keep(int64_t study, int64_t number, const BedBytes& state,
                                            const Request& request) {
  GYREBOX_RETURN_IF_ERROR(space_.CheckReserve());
  const WholeFile file{StateFileOf(study, number, StateKind::kKept, state.step), state.bytes};
  if (auto status = files_.Write(std::vector{file}); !status.ok()) return status;
  StateRow row;
  row.bed = state;
  row.length = static_cast<int64_t>(state.bytes.size());
  const absl::Status status = connections_.Write([&](Connection& connection) {
    absl::Status done = InsertState(connection, study, number, StateKind::kKept, state);
    done.Update(NoteKept(connection, space_.bounds(), study, {number, state.step}, request));
    return done;
  });
  if (!status.ok()) {
    RemoveIfUnused(study, number, file.name);
    return status;
  }
  return ToSavedState(study, number, row);
}

absl::StatusOr<v1::SavedState> States::KeepCheckpoint(int64_t study, int64_t number, const Request& request) {
  GYREBOX_RETURN_IF_ERROR(space_.CheckReserve());
  v1::SavedState kept;
  const absl::Status status = connections_.Write([&](Connection& connection) -> absl::Status {
    const auto last = SelectLastState(connection, study, number, StateKind::kCheckpoint);
    if (!last.ok()) return last.status();
    if (!last->has_value()) {
      return absl::FailedPreconditionError(NameOfRun(study, number) + " has no state yet; wait until it has started");
    }
    kept = ToSavedState(study, number, **last);
    absl::Status done =
        connection.Prepare(sql::kKeepState).Bind(study, number, static_cast<int>(StateKind::kCheckpoint)).Run();
    done.Update(NoteKept(connection, space_.bounds(), study, {number, kept.step()}, request));
    return done;
  });
  if (!status.ok()) return status;
  return kept;
}

void States::RemoveIfUnused(int64_t study, int64_t number, const std::string& file) {
  bool is_used = true;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement used = connection.Prepare(sql::kFileIsUsed);
    is_used = used.Bind(study, number, file).Next();
    return used.status();
  });
  if (status.ok() && !is_used) files_.Remove({file});
}

absl::StatusOr<v1::SavedState> States::GetSaved(int64_t study, const Made::OfRun& made) {
  std::optional<v1::SavedState> state;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectStateAt);
    if (row.Bind(study, made.run, made.number).Next()) state = ToSavedState(study, made.run, ToStateRow(row));
    return row.status();
  });
  if (!status.ok()) return status;
  if (state) return *state;
  return absl::NotFoundError("no state of " + NameOfRun(study, made.run) + " is kept at step " +
                             std::to_string(made.number));
}

absl::StatusOr<std::vector<v1::SavedState>> States::ListSaved(int64_t study, int64_t number) {
  std::vector<v1::SavedState> states;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectSavedStates);
    rows.Bind(study, number);
    while (rows.Next()) states.push_back(ToSavedState(study, number, ToStateRow(rows)));
    return rows.status();
  });
  if (!status.ok()) return status;
  return states;
}

absl::Status States::Sweep() {
  std::set<std::string> known;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectAllFiles);
    while (rows.Next()) known.insert(rows.Text(0));
    return rows.status();
  });
  if (!status.ok()) return status;
  return files_.MoveUnknown(known);
}

}  // namespace gyrebox::store
