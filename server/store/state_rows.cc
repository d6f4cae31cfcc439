// Rows of states, inside transactions of others.
#include "store/state_rows.h"

#include "store/bed_bytes.h"
#include "store/frames.h"
#include "store/rows.h"
#include "store/runs.h"
#include "store/sql/states.h"

namespace gyrebox::store {

/// More than one, as a power cut may tear the last one even if the disk reported it as synced.
constexpr int kCheckpointsKept = 2;

std::string StateFileOf(int64_t study, int64_t number, StateKind kind, int64_t step) {
  static constexpr const char* kEndings[] = {"", "checkpoint", "end", "kept"};
  return std::to_string(study) + "-" + std::to_string(number) + "-" + std::to_string(step) + "." +
         kEndings[static_cast<int>(kind)];
}

std::vector<WholeFile> FilesOf(int64_t study, const RunUpdate& update) {
  std::vector<WholeFile> files;
  if (update.checkpoint) {
    files.push_back(
        {StateFileOf(study, update.number, StateKind::kCheckpoint, update.checkpoint->step), update.checkpoint->bytes});
  }
  if (update.end_state) {
    files.push_back({StateFileOf(study, update.number, StateKind::kEnd, update.step), update.end_state->bytes});
  }
  return files;
}

absl::Status DropStates(Connection& connection, int64_t study, int64_t number, Statement& dropping,
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

absl::Status InsertState(Connection& connection, int64_t study, int64_t number, StateKind kind, const BedBytes& bed) {
  return connection.Prepare(sql::kInsertState)
      .Bind(study, number, static_cast<int>(kind), bed.step, bed.time, StateFileOf(study, number, kind, bed.step),
            static_cast<int64_t>(bed.bytes.size()), static_cast<int64_t>(ChecksumOf(bed.bytes)), bed.side_x, bed.side_y,
            0)
      .Run();
}

static absl::Status NoteCheckpoint(Connection& connection, int64_t study, const RunUpdate& update) {
  const BedBytes& bed = *update.checkpoint;
  const std::string passed = FaultBytes(update.recovered_faults);
  Statement insert = connection.Prepare(sql::kInsertState);
  insert.Bind(study, update.number, static_cast<int>(StateKind::kCheckpoint), bed.step, bed.time,
              StateFileOf(study, update.number, StateKind::kCheckpoint, bed.step),
              static_cast<int64_t>(bed.bytes.size()), static_cast<int64_t>(ChecksumOf(bed.bytes)), bed.side_x,
              bed.side_y, static_cast<int64_t>(update.samples.size()));
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

std::string FaultBytes(const std::vector<v1::Fault>& faults) {
  v1::Run holder;
  holder.mutable_recovered_faults()->Assign(faults.begin(), faults.end());
  return holder.SerializeAsString();
}

}  // namespace gyrebox::store
