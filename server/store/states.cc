// States of runs: checkpoints, end states, and states kept for studies to start from.
#include <spdlog/spdlog.h>

#include <filesystem>
#include <set>

#include "store/names.h"
#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// More than one, as a power cut may tear the last one even if the disk reported it as synced.
constexpr int kCheckpointsKept = 2;

static std::string FileOf(int64_t study, int64_t number, StateKind kind, int64_t step) {
  static constexpr const char* kEndings[] = {"", "checkpoint", "end", "kept"};
  return std::to_string(study) + "-" + std::to_string(number) + "-" + std::to_string(step) + "." +
         kEndings[static_cast<int>(kind)];
}

std::vector<WholeFile> FilesOf(int64_t study, const RunUpdate& update) {
  std::vector<WholeFile> files;
  if (update.checkpoint) {
    files.push_back(
        {FileOf(study, update.number, StateKind::kCheckpoint, update.checkpoint->step), update.checkpoint->bytes});
  }
  if (update.end_state) {
    files.push_back({FileOf(study, update.number, StateKind::kEnd, update.step), update.end_state->bytes});
  }
  return files;
}

/// Runs a deleting statement and adds the files that no state uses any more to `unused`.
static absl::Status DropStates(Connection& connection, int64_t study, int64_t number, Statement& dropping,
                               std::vector<std::string>* unused) {
  std::vector<std::string> dropped;
  while (dropping.Next()) dropped.push_back(dropping.Text(0));
  if (!dropping.status().ok()) return dropping.status();
  for (const std::string& file : dropped) {
    Statement used = connection.Prepare(sql::kFileIsUsed);
    if (!used.Bind(study, number, file).Next()) unused->push_back(file);
    if (!used.status().ok()) return used.status();
  }
  return absl::OkStatus();
}

static absl::Status InsertState(Connection& connection, int64_t study, int64_t number, StateKind kind,
                                const BedBytes& bed) {
  return connection.Prepare(sql::kInsertState)
      .Bind(study, number, static_cast<int>(kind), bed.step, bed.time, FileOf(study, number, kind, bed.step),
            static_cast<int64_t>(bed.bytes.size()), static_cast<int64_t>(ChecksumOf(bed.bytes)), bed.side_x, bed.side_y,
            0)
      .Run();
}

static absl::Status NoteCheckpoint(Connection& connection, int64_t study, const RunUpdate& update) {
  const BedBytes& bed = *update.checkpoint;
  const std::string passed = FaultBytes(update.recovered_faults);
  Statement insert = connection.Prepare(sql::kInsertState);
  insert.Bind(study, update.number, static_cast<int>(StateKind::kCheckpoint), bed.step, bed.time,
              FileOf(study, update.number, StateKind::kCheckpoint, bed.step), static_cast<int64_t>(bed.bytes.size()),
              static_cast<int64_t>(ChecksumOf(bed.bytes)), bed.side_x, bed.side_y,
              static_cast<int64_t>(update.samples.size()));
  if (!passed.empty()) insert.BindAt(12, Statement::AsBlob(passed));
  if (!update.warning.empty()) insert.BindAt(13, update.warning);
  return insert.Run();
}

absl::Status NoteStates(Connection& connection, int64_t study, const RunUpdate& update,
                        std::vector<std::string>* unused) {
  absl::Status status;
  if (update.checkpoint) status.Update(NoteCheckpoint(connection, study, update));
  if (update.end_state) {
    BedBytes end = *update.end_state;
    end.step = update.step;
    end.time = update.time;
    status.Update(InsertState(connection, study, update.number, StateKind::kEnd, end));
  }
  const bool ended = update.state >= v1::Run::STATE_FINISHED;
  if (!update.checkpoint && !ended) return status;
  Statement dropping = connection.Prepare(sql::kDropOldCheckpoints);
  dropping.Bind(study, update.number, ended ? 0 : kCheckpointsKept);
  status.Update(DropStates(connection, study, update.number, dropping, unused));
  return status;
}

void Store::RemoveFiles(const std::vector<std::string>& files) {
  std::error_code ignored;  // the next Open() moves remaining files away
  for (const std::string& file : files) std::filesystem::remove(states_ + "/" + file, ignored);
}

/// An unused name in a directory, based on `name`.
static std::string FreeNameIn(const std::string& directory, const std::string& name) {
  std::string free = name;
  for (int i = 2; std::filesystem::exists(directory + "/" + free); ++i) free = name + "~" + std::to_string(i);
  return free;
}

absl::Status Store::SweepStates() {
  std::set<std::string> known;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectAllFiles);
    while (rows.Next()) known.insert(rows.Text(0));
    return rows.status();
  });
  if (!status.ok()) return status;
  std::vector<std::string> unknown;
  std::error_code none;  // the directory does not exist before the first state
  for (const auto& entry : std::filesystem::directory_iterator(states_, none)) {
    if (const std::string name = entry.path().filename().string(); !known.contains(name)) unknown.push_back(name);
  }
  if (unknown.empty()) return absl::OkStatus();
  const std::string lost = directory_ + "/lost";
  GYREBOX_RETURN_IF_ERROR(MakeDirectory(lost));
  std::error_code error;
  for (const std::string& name : unknown) {
    std::filesystem::rename(states_ + "/" + name, lost + "/" + FreeNameIn(lost, name), error);
    if (error)
      return absl::InternalError("cannot move " + states_ + "/" + name + " to " + lost + ": " + error.message());
  }
  spdlog::warn(
      "{} files in {} that the database does not know, such as {}, were moved to {}; what a sudden end left "
      "behind may be deleted there",
      unknown.size(), states_, unknown.front(), lost);
  return absl::OkStatus();
}

StateRow ToStateRow(const Statement& row) {
  StateRow state;
  state.bed.step = row.Int(0);
  state.bed.time = row.Real(1);
  state.file = row.Text(2);
  state.length = row.Int(3);
  state.checksum = static_cast<uint32_t>(row.Int(4));
  state.bed.side_x = row.Real(5);
  state.bed.side_y = row.Real(6);
  state.sample_count = row.Int(7);
  if (!row.IsNull(8)) state.recovered_faults = row.Text(8);
  if (!row.IsNull(9)) state.warning = row.Text(9);
  return state;
}

absl::StatusOr<std::optional<StateRow>> SelectLastState(Connection& connection, int64_t study, int64_t number,
                                                        StateKind kind) {
  std::optional<StateRow> state;
  Statement row = connection.Prepare(sql::kSelectLastState);
  if (row.Bind(study, number, static_cast<int>(kind)).Next()) state = ToStateRow(row);
  if (!row.status().ok()) return row.status();
  return state;
}

absl::StatusOr<std::optional<StateRow>> SelectStateBefore(Connection& connection, int64_t study, int64_t number,
                                                          int64_t at_most) {
  std::optional<StateRow> state;
  Statement row = connection.Prepare(sql::kSelectStateBefore);
  if (row.Bind(study, number, at_most).Next()) state = ToStateRow(row);
  if (!row.status().ok()) return row.status();
  return state;
}

absl::StatusOr<BedBytes> Store::ReadState(const StateRow& row) {
  auto bytes = ReadWhole(states_ + "/" + row.file, row.length, row.checksum);
  if (!bytes.ok()) return bytes.status();
  BedBytes bed = row.bed;
  bed.bytes = *std::move(bytes);
  return bed;
}

absl::StatusOr<BedBytes> Store::GetEndState(int64_t study, int64_t number) {
  std::optional<StateRow> found;
  const auto status = Read([&](Connection& connection) {
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
  return ReadState(*found);
}

absl::StatusOr<BedBytes> Store::GetStateAt(int64_t study, int64_t number, int64_t step) {
  std::optional<StateRow> found;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectStateAt);
    if (row.Bind(study, number, step).Next()) found = ToStateRow(row);
    return row.status();
  });
  if (!status.ok()) return status;
  if (!found) {
    return absl::NotFoundError("no state of " + NameOfRun(study, number) + " is kept at step " + std::to_string(step));
  }
  return ReadState(*found);
}

absl::StatusOr<std::optional<Checkpoint>> Store::GetCheckpoint(int64_t study, int64_t number) {
  std::optional<StateRow> found;
  const auto status = Read([&](Connection& connection) {
    auto last = SelectLastState(connection, study, number, StateKind::kCheckpoint);
    if (last.ok()) found = *std::move(last);
    return last.status();
  });
  if (!status.ok()) return status;
  if (!found) return std::nullopt;
  auto bed = ReadState(*found);
  if (!bed.ok()) return bed.status();
  Checkpoint checkpoint{*std::move(bed), found->sample_count};
  if (checkpoint.sample_count > 0) {
    const auto last = ReadSamples(study, number, checkpoint.sample_count - 1, 1);
    if (!last.ok()) return last.status();
    if (last->size() == 1) checkpoint.last_sample_step = static_cast<int64_t>(last->row(0)[0]);
  }
  return checkpoint;
}

absl::Status RollBack(Connection& connection, int64_t study, int64_t number) {
  const auto last = SelectLastState(connection, study, number, StateKind::kCheckpoint);
  if (!last.ok()) return last.status();
  const StateRow to = last->value_or(StateRow());
  absl::Status status = connection.Prepare(sql::kCutSamples).Bind(study, number, to.sample_count).Run();
  status.Update(CutFrames(connection, study, number, to.bed.step));
  Statement back = connection.Prepare(sql::kRollBackRun);
  back.Bind(study, number, to.bed.step, to.bed.time, to.sample_count);
  if (!to.recovered_faults.empty()) back.BindAt(6, Statement::AsBlob(to.recovered_faults));
  if (!to.warning.empty()) back.BindAt(7, to.warning);
  back.BindAt(8, NowMilliseconds());
  status.Update(back.Run());
  return status;
}

absl::Status Store::DropCheckpoint(int64_t study, int64_t number) {
  std::vector<std::string> unused;
  const absl::Status status = Write([&](Connection& connection) -> absl::Status {
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
  if (status.ok()) RemoveFiles(unused);
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

absl::StatusOr<v1::SavedState> Store::KeepState(int64_t study, int64_t number, const BedBytes& state,
                                                const Request& request) {
  GYREBOX_RETURN_IF_ERROR(CheckReserve(bounds_, FreeDisk()));
  const WholeFile file{FileOf(study, number, StateKind::kKept, state.step), state.bytes};
  if (auto status = WriteAtomically(states_, std::vector{file}); !status.ok()) return status;
  StateRow row;
  row.bed = state;
  row.length = static_cast<int64_t>(state.bytes.size());
  const absl::Status status = Write([&](Connection& connection) {
    absl::Status done = InsertState(connection, study, number, StateKind::kKept, state);
    done.Update(NoteKept(connection, bounds_, study, {number, state.step}, request));
    return done;
  });
  if (!status.ok()) {
    RemoveIfUnused(study, number, file.name);
    return status;
  }
  return ToSavedState(study, number, row);
}

absl::StatusOr<v1::SavedState> Store::KeepCheckpoint(int64_t study, int64_t number, const Request& request) {
  GYREBOX_RETURN_IF_ERROR(CheckReserve(bounds_, FreeDisk()));
  v1::SavedState kept;
  const absl::Status status = Write([&](Connection& connection) -> absl::Status {
    const auto last = SelectLastState(connection, study, number, StateKind::kCheckpoint);
    if (!last.ok()) return last.status();
    if (!last->has_value()) {
      return absl::FailedPreconditionError(NameOfRun(study, number) + " has no state yet; wait until it has started");
    }
    kept = ToSavedState(study, number, **last);
    absl::Status done =
        connection.Prepare(sql::kKeepState).Bind(study, number, static_cast<int>(StateKind::kCheckpoint)).Run();
    done.Update(NoteKept(connection, bounds_, study, {number, kept.step()}, request));
    return done;
  });
  if (!status.ok()) return status;
  return kept;
}

void Store::RemoveIfUnused(int64_t study, int64_t number, const std::string& file) {
  bool is_used = true;
  const auto status = Read([&](Connection& connection) {
    Statement used = connection.Prepare(sql::kFileIsUsed);
    is_used = used.Bind(study, number, file).Next();
    return used.status();
  });
  if (status.ok() && !is_used) RemoveFiles({file});
}

absl::StatusOr<v1::SavedState> Store::GetSavedState(int64_t study, const Made::OfRun& made) {
  std::optional<v1::SavedState> state;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectStateAt);
    if (row.Bind(study, made.run, made.number).Next()) state = ToSavedState(study, made.run, ToStateRow(row));
    return row.status();
  });
  if (!status.ok()) return status;
  if (state) return *state;
  return absl::NotFoundError("no state of " + NameOfRun(study, made.run) + " is kept at step " +
                             std::to_string(made.number));
}

absl::StatusOr<std::vector<v1::SavedState>> Store::ListSavedStates(int64_t study, int64_t number) {
  std::vector<v1::SavedState> states;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectSavedStates);
    rows.Bind(study, number);
    while (rows.Next()) states.push_back(ToSavedState(study, number, ToStateRow(rows)));
    return rows.status();
  });
  if (!status.ok()) return status;
  return states;
}

}  // namespace gyrebox::store
