#include "store/salvage_check.h"

#include <algorithm>
#include <cstring>
#include <filesystem>
#include <map>
#include <set>

#include "gyrebox/v1/run_service.pb.h"
#include "store/names.h"
#include "store/packed.h"
#include "store/rows.h"
#include "store/sql/migrations.h"
#include "store/sql/salvage.h"
#include "store/sql/states.h"
#include "store/state_file.h"
#include "store/state_rows.h"
#include "store/studies.h"
#include "study/expand.h"
#include "study/return_if_error.h"
#include "study/run_spec.h"
#include "study/validation/check_axes.h"
#include "study/validation/check_fields.h"

namespace gyrebox::store {
namespace {

using Key = std::pair<int64_t, int64_t>;  ///< study and run

std::string NameOfStudy(int64_t id) { return "studies/" + std::to_string(id); }

/// Whether the runs can be expanded from the spec.
bool IsSound(const v1::StudySpec& spec) {
  study::Violations violations;
  study::CheckFields(spec, &violations);
  study::CheckAxes(spec, &violations);
  return violations.empty();
}

struct KnownStudy {
  int64_t id = 0;
  v1::StudySpec spec;
  bool cancelled = false;
};

struct KnownRun {
  int64_t study = 0, number = 0;
  int state = 0;
  int64_t sample_count = 0, journal_length = 0, step = 0;
  bool has_columns = false;
  bool cancelled = false;  ///< whether its study is cancelled
  bool is_open() const { return state < v1::Run::STATE_FINISHED; }
  bool waits() const { return state == v1::Run::STATE_QUEUED || state == v1::Run::STATE_PAUSED; }
  std::string name() const { return NameOfRun(study, number); }
};

/// Each step checks all rows of one kind and adds to the list of losses.
class Check {
 public:
  Check(Connection& to, std::vector<std::string>* lost) : to_(to), lost_(*lost) {}

  absl::Status Studies();
  absl::Status Runs();
  absl::Status States(const std::string& from, const std::string& to);
  absl::Status StartStates(const std::string& from, const std::string& to);
  absl::Status Frames(const FoundBeside& found);
  absl::Status Series();
  absl::Status Rest(const FoundBeside& found);

 private:
  void Lost(const std::string& what) { lost_.push_back(what); }
  absl::StatusOr<std::vector<Key>> Keys(const char* sql, int columns);
  absl::StatusOr<std::map<int64_t, study::PlannedRun>> MissingRuns(const KnownStudy& study);
  absl::Status PutRun(const KnownStudy& study, int64_t number, const study::PlannedRun& plan, bool had_journal);
  absl::Status FailRun(const KnownRun& run);
  absl::Status OneSeries(const KnownRun& run);
  /// Number of samples without a gap from the first on. @param width returns the width of a row.
  absl::StatusOr<int64_t> SoundSamples(const KnownRun& run, size_t* width);
  absl::StatusOr<bool> FindColumns(const KnownRun& run, size_t width);
  absl::StatusOr<bool> HasWholeJournal(const KnownRun& run);
  absl::Status Rollback(const KnownRun& run);
  /// Copies a file if it is intact.
  bool Copy(const std::string& from, const std::string& to, const KnownFile& file);

  Connection& to_;
  std::vector<std::string>& lost_;
  std::vector<KnownStudy> studies_;
  std::set<std::string> copied_;
};

absl::StatusOr<std::vector<Key>> Check::Keys(const char* sql, int columns) {
  std::vector<Key> keys;
  Statement rows = to_.Prepare(sql);
  while (rows.Next()) keys.emplace_back(rows.Int(0), columns > 1 ? rows.Int(1) : 0);
  if (!rows.status().ok()) return rows.status();
  return keys;
}

absl::Status Check::Studies() {
  const auto deleted = Keys(sql::kDeletedStudies, 1);
  if (!deleted.ok()) return deleted.status();
  std::vector<int64_t> unreadable;
  {
    Statement rows = to_.Prepare(sql::kAllStudies);
    while (rows.Next()) {
      KnownStudy study{rows.Int(0), {}, rows.Int(2) != 0};
      if (study.spec.ParseFromString(rows.Text(1)) && study.spec.has_bed()) {
        studies_.push_back(std::move(study));
      } else {
        unreadable.push_back(study.id);
      }
    }
    if (!rows.status().ok()) return rows.status();
  }
  absl::Status status;
  for (const int64_t id : unreadable) status.Update(to_.Prepare(sql::kDropStudy).Bind(id).Run());
  const auto named = Keys(sql::kStudiesNamed, 1);
  status.Update(named.status());
  if (!status.ok()) return status;
  std::set<int64_t> gone(unreadable.begin(), unreadable.end());
  for (const auto& [id, none] : *named) gone.insert(id);
  for (const auto& [id, none] : *deleted) gone.erase(id);
  for (const int64_t id : gone) Lost(NameOfStudy(id) + ": what it is; its runs tell nothing without it, and go too");
  status.Update(to_.Execute(sql::kDropOwnersAsLabels));
  status.Update(to_.Execute(sql::kDropWithoutStudy));
  return status;
}

/// Missing runs of a study, by number.
absl::StatusOr<std::map<int64_t, study::PlannedRun>> Check::MissingRuns(const KnownStudy& study) {
  const study::PointOrder order(study.spec);
  std::set<std::pair<size_t, int>> there;  // point and realization
  std::vector<study::AuditedRun> audited;
  std::set<int64_t> numbers;
  Statement rows = to_.Prepare(sql::kNumbersOf);
  rows.Bind(study.id);
  while (rows.Next()) {
    std::vector<double> values = ToAxisValues(rows.Text(1));
    const int trial = static_cast<int>(rows.Int(2));
    if (rows.Int(3) != 0) {
      audited.push_back({std::move(values), trial});
    } else {
      there.emplace(order.Index(values), trial);
    }
    numbers.insert(rows.Int(0));
  }
  if (!rows.status().ok()) return rows.status();
  std::vector<study::PlannedRun> missing;
  for (study::PlannedRun& plan : study::Expand(study.spec, {}, audited)) {
    const bool is_missing = plan.audit || !there.contains({order.Index(plan.axis_values), plan.trial});
    if (is_missing) missing.push_back(std::move(plan));
  }
  // A study that never grew numbers its runs in this order, so these are the original numbers.
  std::map<int64_t, study::PlannedRun> runs;
  size_t next = 0;
  for (int64_t number = 1; next < missing.size(); ++number) {
    if (!numbers.contains(number)) runs[number] = std::move(missing[next++]);
  }
  return runs;
}

absl::Status Check::PutRun(const KnownStudy& study, int64_t number, const study::PlannedRun& plan, bool had_journal) {
  const kernels::RunSpec spec = study::ToRunSpec(study::AtRun(study.spec, plan), plan.seeds);
  absl::Status status = InsertRun(to_, study.id, number, {plan, spec.n_beads, spec.n_steps}, /*priority=*/0, 1);
  const KnownRun run{.study = study.id, .number = number};
  if (had_journal) {
    Lost(run.name() + ": how far it was, what it measured and its journal; it ends as FAILED");
    status.Update(FailRun(run));
  } else if (study.cancelled) {
    Lost(run.name() + ": how far it was and what it measured");
    status.Update(to_.Prepare(sql::kCancelRun).Bind(study.id, number, NowMilliseconds()).Run());
  } else {
    Lost(run.name() + ": how far it was and what it measured; it is queued again");
  }
  return status;
}

absl::Status Check::FailRun(const KnownRun& run) {
  v1::Fault fault;
  fault.set_reason("DATA_LOSS");
  fault.set_message("what users changed in it was lost in a damaged store");
  const std::string bytes = fault.SerializeAsString();
  return to_.Prepare(sql::kFailRun).Bind(run.study, run.number, Statement::AsBlob(bytes), NowMilliseconds()).Run();
}

absl::Status Check::Runs() {
  const auto with_journal = Keys(sql::kRunsWithJournal, 2);
  const auto named = Keys(sql::kRunsNamed, 2);
  if (!with_journal.ok() || !named.ok()) return with_journal.ok() ? named.status() : with_journal.status();
  const std::set<Key> journals(with_journal->begin(), with_journal->end());
  GYREBOX_RETURN_IF_ERROR(to_.Execute(sql::kDropWithoutRun));
  std::set<Key> put;
  for (const KnownStudy& study : studies_) {
    if (!IsSound(study.spec)) {
      Lost(NameOfStudy(study.id) + ": parts of what it is; it does not pass the checks of a new study");
      continue;
    }
    const auto missing = MissingRuns(study);
    if (!missing.ok()) return missing.status();
    for (const auto& [number, plan] : *missing) {
      put.emplace(study.id, number);
      const auto status = PutRun(study, number, plan, journals.contains({study.id, number}));
      if (!status.ok()) return status;
    }
  }
  for (const Key& run : *named) {
    if (!put.contains(run)) Lost(NameOfRun(run.first, run.second) + ": all of it");
  }
  return absl::OkStatus();
}

bool Check::Copy(const std::string& from, const std::string& to, const KnownFile& file) {
  if (copied_.contains(file.name)) return true;
  if (file.name.empty() || file.name.find('/') != std::string::npos || file.length < 0) return false;
  std::error_code error;
  const auto length = std::filesystem::file_size(from + "/" + file.name, error);
  if (error || static_cast<int64_t>(length) != file.length) return false;
  const auto bytes = ReadWhole(from + "/" + file.name, file.length, file.checksum);
  if (!bytes.ok() || !WriteAtomically(to, std::vector<WholeFile>{{file.name, *bytes}}).ok()) return false;
  copied_.insert(file.name);
  return true;
}

absl::Status Check::States(const std::string& from, const std::string& to) {
  struct Bad {
    int64_t study, run, kind, step;
  };
  std::vector<Bad> bad;
  {
    Statement rows = to_.Prepare(sql::kAllStates);
    while (rows.Next()) {
      const KnownFile file{rows.Text(4), rows.Int(5), static_cast<uint32_t>(rows.Int(6))};
      if (!Copy(from, to, file)) bad.push_back({rows.Int(0), rows.Int(1), rows.Int(2), rows.Int(3)});
    }
    if (!rows.status().ok()) return rows.status();
  }
  absl::Status status;
  static constexpr const char* kWhat[] = {"a state", "its checkpoint", "the state that it left", "the state kept"};
  for (const Bad& one : bad) {
    Lost(NameOfRun(one.study, one.run) + ": " + kWhat[one.kind >= 1 && one.kind <= 3 ? one.kind : 0] + " at step " +
         std::to_string(one.step));
    status.Update(to_.Prepare(sql::kDropState).Bind(one.study, one.run, one.kind, one.step).Run());
  }
  return status;
}

absl::Status Check::StartStates(const std::string& from, const std::string& to) {
  std::set<int64_t> have;
  std::vector<int64_t> bad;
  {
    Statement rows = to_.Prepare(sql::kAllStartStates);
    while (rows.Next()) {
      const bool whole = Copy(from, to, {rows.Text(1), rows.Int(2), static_cast<uint32_t>(rows.Int(3))});
      whole ? (void)have.insert(rows.Int(0)) : bad.push_back(rows.Int(0));
    }
    if (!rows.status().ok()) return rows.status();
  }
  absl::Status status;
  for (const int64_t id : bad) status.Update(to_.Prepare(sql::kDropStartState).Bind(id).Run());
  for (const KnownStudy& study : studies_) {
    if (!status.ok()) return status;
    if (!study.spec.start().has_saved() || have.contains(study.id)) continue;
    // Copy it again if its source still exists.
    if (TakeStart(to_, to, study.id, study.spec, /*like=*/0).ok()) continue;
    Lost(NameOfStudy(study.id) + ": the state that it starts from; runs of it that have not begun will fail");
  }
  return status;
}

absl::Status Check::Frames(const FoundBeside& found) {
  std::map<Key, std::set<int64_t>> bad;
  {
    Statement rows = to_.Prepare(sql::kAllFrames);
    while (rows.Next()) {
      const std::string beads = rows.Text(3);
      const bool whole = !rows.IsNull(5) && ChecksumOf(beads) == static_cast<uint32_t>(rows.Int(4));
      if (!whole) bad[{rows.Int(0), rows.Int(1)}].insert(rows.Int(2));
    }
    if (!rows.status().ok()) return rows.status();
  }
  absl::Status status;
  for (const auto& [run, steps] : bad) {
    for (const int64_t step : steps) {
      status.Update(to_.Prepare(sql::kDropFrame).Bind(run.first, run.second, step).Run());
    }
  }
  for (const auto& known : found.frames_known) {
    Statement there = to_.Prepare(sql::kHasFrame);
    if (!there.Bind(known[0], known[1], known[2]).Next()) bad[{known[0], known[1]}].insert(known[2]);
    status.Update(there.status());
  }
  for (const auto& [run, steps] : bad) {
    std::string text;
    for (const int64_t step : steps) text += (text.empty() ? "" : ", ") + std::to_string(step);
    Lost(NameOfRun(run.first, run.second) + ": frames at steps " + text);
  }
  return status;
}

absl::StatusOr<int64_t> Check::SoundSamples(const KnownRun& run, size_t* width) {
  int64_t next = 0;
  *width = 0;
  Statement rows = to_.Prepare(sql::kSegmentsOf);
  rows.Bind(run.study, run.number);
  while (rows.Next() && rows.Int(0) == next && rows.Int(1) > 0 && rows.Int(1) <= run.sample_count - next) {
    const auto count = static_cast<size_t>(rows.Int(1));
    const auto numbers = Unpack({rows.Text(2), rows.Text(3)}, count);
    if (numbers.empty() || numbers.size() % count != 0) break;
    if (*width != 0 && *width != numbers.size() / count) break;
    *width = numbers.size() / count;
    next += static_cast<int64_t>(count);
  }
  return rows.status().ok() ? absl::StatusOr<int64_t>(next) : rows.status();
}

absl::StatusOr<bool> Check::FindColumns(const KnownRun& run, size_t width) {
  int64_t id = 0;
  {
    Statement rows = to_.Prepare(sql::kColumnsBeside);
    rows.Bind(run.study);
    while (id == 0 && rows.Next()) {
      v1::RunSamples list;
      size_t numbers = kRowHead;
      if (!list.ParseFromString(rows.Text(1))) continue;
      for (const auto& observable : list.observables()) numbers += static_cast<size_t>(observable.width());
      if (numbers == width) id = rows.Int(0);
    }
    if (!rows.status().ok()) return rows.status();
  }
  Statement use = to_.Prepare(sql::kUseColumns);
  use.Bind(run.study, run.number);
  if (id > 0) use.BindAt(3, id);
  const absl::Status status = use.Run();
  return status.ok() ? absl::StatusOr<bool>(id > 0) : status;
}

absl::StatusOr<bool> Check::HasWholeJournal(const KnownRun& run) {
  int64_t count = 0, last = 0;
  {
    Statement row = to_.Prepare(sql::kCountJournal);
    if (row.Bind(run.study, run.number).Next()) {
      count = row.Int(0);
      last = std::max(row.Int(1), run.journal_length);
    }
    if (!row.status().ok()) return row.status();
  }
  if (count == last) return true;
  Lost(run.name() + ": " + std::to_string(last - count) + " of the " + std::to_string(last) +
       " entries of its journal" + (run.is_open() ? "; it ends as FAILED, as nobody knows how to go on" : ""));
  const absl::Status status = to_.Prepare(sql::kSetJournalLength).Bind(run.study, run.number, last).Run();
  return status.ok() ? absl::StatusOr<bool>(false) : status;
}

/// Rolls a run back to its newest intact checkpoint, or to its start. A paused run stays paused.
absl::Status Check::Rollback(const KnownRun& run) {
  absl::Status status = RollBack(to_, run.study, run.number);
  status.Update(to_.Prepare(sql::kForgetEnd).Bind(run.study, run.number).Run());
  if (run.state == v1::Run::STATE_PAUSED) {
    status.Update(to_.Prepare(sql::kPauseAgain).Bind(run.study, run.number).Run());
  }
  return status;
}

absl::Status Check::OneSeries(const KnownRun& run) {
  const auto journal = HasWholeJournal(run);
  size_t width = 0;
  auto sound = SoundSamples(run, &width);
  if (!journal.ok() || !sound.ok()) return journal.ok() ? sound.status() : journal.status();
  if (run.sample_count > 0 && !run.has_columns) {
    const auto found = FindColumns(run, width);
    if (!found.ok()) return found.status();
    if (!*found) *sound = 0;
  }
  const bool gap = *sound < run.sample_count;
  const bool again = gap && !run.is_open() && *journal && !run.cancelled && run.state != v1::Run::STATE_CANCELLED;
  absl::Status status = to_.Prepare(sql::kCutSamples).Bind(run.study, run.number, *sound).Run();
  status.Update(to_.Prepare(sql::kDropUnsoundCheckpoints).Bind(run.study, run.number, *sound).Run());
  if (gap) {
    Lost(run.name() + ": samples " + std::to_string(*sound) + " to " + std::to_string(run.sample_count - 1) +
         (again ? "; it is queued again from its start" : ""));
    status.Update(to_.Prepare(sql::kCutSeries).Bind(run.study, run.number, *sound).Run());
  }
  const auto last = SelectLastState(to_, run.study, run.number, StateKind::kCheckpoint);
  status.Update(last.status());
  if (!status.ok()) return status;
  const int64_t checkpoint = last->has_value() ? (*last)->bed.step : 0;
  if (run.is_open() && !*journal) return FailRun(run);
  return again || (run.waits() && checkpoint != run.step) ? Rollback(run) : status;
}

absl::Status Check::Series() {
  std::set<int64_t> cancelled;
  for (const KnownStudy& study : studies_) {
    if (study.cancelled) cancelled.insert(study.id);
  }
  // Includes runs without samples, for which FindColumns() is not called.
  GYREBOX_RETURN_IF_ERROR(to_.Execute(sql::kForgetLostColumns));
  std::vector<KnownRun> runs;
  {
    Statement rows = to_.Prepare(sql::kRunsToCheck);
    while (rows.Next()) {
      runs.push_back({rows.Int(0), rows.Int(1), static_cast<int>(rows.Int(2)), rows.Int(3), rows.Int(4), rows.Int(5),
                      rows.Int(6) != 0, cancelled.contains(rows.Int(0))});
    }
    if (!rows.status().ok()) return rows.status();
  }
  absl::Status status;
  for (const KnownRun& run : runs) status.Update(OneSeries(run));
  return status;
}

/// Tokens are never deleted, so a missing number is a loss.
absl::Status Check::Rest(const FoundBeside& found) {
  std::map<std::string, int64_t> last = found.sequences;
  const auto tokens = Keys(sql::kAllTokens, 1);
  if (!tokens.ok()) return tokens.status();
  std::set<int64_t> numbers;
  for (const auto& [id, none] : *tokens) numbers.insert(id);
  if (!numbers.empty()) last["token"] = std::max(last["token"], *numbers.rbegin());
  for (int64_t id = 1; id <= last["token"]; ++id) {
    if (!numbers.contains(id)) Lost("tokens/" + std::to_string(id) + ": whoever has it needs a new one");
  }
  if (!studies_.empty()) last["study"] = std::max(last["study"], studies_.back().id);
  const auto edits = Keys(sql::kEditNumbers, 2);
  if (!edits.ok()) return edits.status();
  Key before{0, 0};
  for (const Key& edit : *edits) {
    const int64_t next = edit.first == before.first ? before.second + 1 : 1;
    if (edit.second != next) {
      Lost(NameOfStudy(edit.first) + ": " + std::to_string(edit.second - next) + " entries of what users did to it");
    }
    before = edit;
  }
  absl::Status status = to_.Execute(sql::kRecountRuns);
  for (const auto& [table, number] : last) {
    status.Update(to_.Prepare(sql::kDropSequence).Bind(table).Run());
    status.Update(to_.Prepare(sql::kPutSequence).Bind(table, number).Run());
  }
  for (const KnownStudy& study : studies_) status.Update(CountChange(to_, study.id));
  status.Update(to_.Execute(GYREBOX_RECOUNT_BYTES));
  return status;
}

}  // namespace

absl::Status MakeSound(Connection& to, const FoundBeside& found, const std::string& from_states,
                       const std::string& to_states, std::vector<std::string>* lost) {
  Transaction transaction(to, Transaction::Kind::kWrite);
  if (!transaction.status().ok()) return transaction.status();
  Check check(to, lost);
  GYREBOX_RETURN_IF_ERROR(check.Studies());
  GYREBOX_RETURN_IF_ERROR(check.Runs());
  GYREBOX_RETURN_IF_ERROR(check.States(from_states, to_states));
  GYREBOX_RETURN_IF_ERROR(check.StartStates(from_states, to_states));
  GYREBOX_RETURN_IF_ERROR(check.Frames(found));
  GYREBOX_RETURN_IF_ERROR(check.Series());
  GYREBOX_RETURN_IF_ERROR(check.Rest(found));
  return transaction.Commit();
}

}  // namespace gyrebox::store
