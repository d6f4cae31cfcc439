#include "store/store.h"

#include <algorithm>
#include <iterator>
#include <limits>

#include "gyrebox/v1/run_service.pb.h"
#include "store/integrity.h"
#include "store/packed.h"
#include "store/rows.h"
#include "store/sql/migrations.h"
#include "store/sql/statements.h"
#include "store/state_file.h"

namespace gyrebox::store {

static std::string DatabaseIn(const std::string& directory) { return directory + "/gyrebox.db"; }

absl::StatusOr<std::unique_ptr<Store>> Store::Open(const std::string& directory) {
  auto lock = DirectoryLock::Take(directory);
  if (!lock.ok()) return lock.status();
  auto writer = OpenWhole(DatabaseIn(directory));
  if (!writer.ok()) return writer.status();
  std::unique_ptr<Store> store(new Store(*std::move(lock), *std::move(writer), directory));
  if (auto status = store->Migrate(); !status.ok()) return status;
  if (auto status = store->RequeueCutOffRuns(); !status.ok()) return status;
  return store;
}

Store::Store(std::unique_ptr<DirectoryLock> lock, std::unique_ptr<Connection> writer, const std::string& directory)
    : lock_(std::move(lock)),
      writer_(std::move(writer)),
      path_(DatabaseIn(directory)),
      states_(directory + "/states") {}

absl::Status Store::Migrate() {
  int64_t done = 0;
  {
    Statement version = writer_->Prepare("PRAGMA user_version");
    if (version.Next()) done = version.Int(0);
    if (!version.status().ok()) return version.status();
  }
  constexpr int64_t kCount = std::size(sql::kMigrations);
  if (done > kCount) return absl::FailedPreconditionError(path_ + " was made by a newer version of this server");
  for (; done < kCount; ++done) {
    const auto status = Write([&](Connection& connection) {
      const auto made = connection.Execute(sql::kMigrations[done]);
      return made.ok() ? connection.Execute("PRAGMA user_version = " + std::to_string(done + 1)) : made;
    });
    if (!status.ok()) return status;
  }
  return absl::OkStatus();
}

static absl::Status CountChange(Connection& connection, int64_t study) {
  return connection.Prepare(sql::kCountChange).Bind(study, NowMilliseconds()).Run();
}

absl::Status Store::RequeueCutOffRuns() {
  return Write([](Connection& connection) {
    std::vector<int64_t> studies;
    {
      Statement found = connection.Prepare(sql::kSelectCutOffStudies);
      while (found.Next()) studies.push_back(found.Int(0));
      if (!found.status().ok()) return found.status();
    }
    absl::Status status = connection.Prepare(sql::kDropCutOffSamples).Run();
    status.Update(connection.Prepare(sql::kCancelCutOffRuns).Bind(NowMilliseconds()).Run());
    status.Update(connection.Prepare(sql::kRequeueCutOffRuns).Run());
    for (const int64_t study : studies) status.Update(CountChange(connection, study));
    return status;
  });
}

absl::Status Store::Write(const Work& work) {
  std::lock_guard lock(write_mutex_);
  Transaction transaction(*writer_, Transaction::Kind::kWrite);
  if (!transaction.status().ok()) return transaction.status();
  if (auto status = work(*writer_); !status.ok()) return status;
  return transaction.Commit();
}

absl::Status Store::Read(const Work& work) {
  std::unique_ptr<Connection> reader;
  {
    std::lock_guard lock(readers_mutex_);
    if (!readers_.empty()) {
      reader = std::move(readers_.back());
      readers_.pop_back();
    }
  }
  if (reader == nullptr) {
    auto opened = Connection::Open(path_, Connection::Mode::kRead);
    if (!opened.ok()) return opened.status();
    reader = *std::move(opened);
  }
  absl::Status status;
  {
    Transaction snapshot(*reader, Transaction::Kind::kRead);
    status = snapshot.status().ok() ? work(*reader) : snapshot.status();
  }
  std::lock_guard lock(readers_mutex_);
  readers_.push_back(std::move(reader));
  return status;
}

// ---- studies

static absl::Status NoStudy(int64_t id) {
  return absl::NotFoundError("there is no study studies/" + std::to_string(id));
}

static absl::StatusOr<v1::Study> SelectStudy(Connection& connection, int64_t id) {
  v1::Study study;
  bool cancelled = false;
  {
    Statement row = connection.Prepare(sql::kSelectStudy);
    if (!row.Bind(id).Next()) return row.status().ok() ? NoStudy(id) : row.status();
    study = ToStudy(row);
    cancelled = row.Int(5) != 0;
  }
  if (auto status = AddCounts(connection, id, cancelled, &study); !status.ok()) return status;
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
  if (!insert.Bind(Statement::AsBlob(bytes), request_id, NowMilliseconds(), owner).Next()) return insert.status();
  return insert.Int(0);
}

static absl::Status InsertRun(Connection& connection, int64_t study, int64_t number, const NewRun& run) {
  const auto& values = run.plan.axis_values;
  const auto& seeds = run.plan.seeds;
  return connection.Prepare(sql::kInsertRun)
      .Bind(study, number, Statement::AsBlob(values.data(), values.size() * sizeof(double)), run.plan.trial,
            static_cast<int64_t>(seeds.places()), static_cast<int64_t>(seeds.noise()),
            static_cast<int64_t>(seeds.disorder()), run.bead_count, run.total_steps)
      .Run();
}

absl::StatusOr<v1::Study> Store::CreateStudy(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                             const std::string& request_id, const std::string& owner) {
  v1::Study study;
  const auto status = Write([&](Connection& connection) -> absl::Status {
    auto earlier = SelectRequest(connection, request_id);
    if (!earlier.ok()) return earlier.status();
    int64_t id = earlier->value_or(0);
    if (!earlier->has_value()) {
      const auto inserted = InsertStudy(connection, spec, request_id, owner);
      if (!inserted.ok()) return inserted.status();
      id = *inserted;
      for (size_t i = 0; i < runs.size(); ++i) {
        if (auto run = InsertRun(connection, id, static_cast<int64_t>(i) + 1, runs[i]); !run.ok()) return run;
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

absl::StatusOr<std::vector<v1::Study>> Store::ListStudies(int64_t below_id, int limit) {
  std::vector<v1::Study> studies;
  const auto status = Read([&](Connection& connection) -> absl::Status {
    std::vector<int64_t> ids;
    {
      Statement rows = connection.Prepare(sql::kSelectStudyIds);
      rows.Bind(below_id, limit);
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

absl::Status Store::CancelStudy(int64_t id) {
  return Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    if (study->state() == v1::Study::STATE_CANCELLED || study->state() == v1::Study::STATE_FINISHED) {
      const bool finished = study->state() == v1::Study::STATE_FINISHED;
      return absl::FailedPreconditionError(study->name() + " is " + (finished ? "finished" : "cancelled") + " already");
    }
    absl::Status status = connection.Prepare(sql::kCancelStudy).Bind(id).Run();
    status.Update(connection.Prepare(sql::kCancelQueuedRuns).Bind(id, NowMilliseconds()).Run());
    status.Update(CountChange(connection, id));
    return status;
  });
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

// ---- runs

absl::StatusOr<v1::Run> Store::GetRun(int64_t study, int64_t number) {
  v1::Run run;
  const auto status = Read([&](Connection& connection) -> absl::Status {
    Statement row = connection.Prepare(sql::kSelectRun);
    if (row.Bind(study, number).Next()) {
      run = ToRun(row);
      return absl::OkStatus();
    }
    if (!row.status().ok()) return row.status();
    return absl::NotFoundError("there is no run studies/" + std::to_string(study) + "/runs/" + std::to_string(number));
  });
  if (!status.ok()) return status;
  return run;
}

absl::StatusOr<std::vector<v1::Run>> Store::ListRuns(int64_t study, int64_t above_number, int limit) {
  std::vector<v1::Run> runs;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectRuns);
    rows.Bind(study, above_number, limit);
    while (rows.Next()) runs.push_back(ToRun(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return runs;
}

absl::StatusOr<ChangedRuns> Store::ListChangedRuns(int64_t study, ChangeCursor after, int limit) {
  ChangedRuns changed;
  const auto status = Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectChangedRuns);
    rows.Bind(study, after.change, after.number, limit);
    while (rows.Next()) {
      changed.runs.push_back(ToRun(rows));
      changed.cursors.push_back({ChangeOf(rows), rows.Int(1)});
    }
    return rows.status();
  });
  if (!status.ok()) return status;
  return changed;
}

absl::StatusOr<int64_t> Store::CountRuns(v1::Run::State state) {
  int64_t count = 0;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kCountAllRuns);
    if (row.Bind(static_cast<int>(state)).Next()) count = row.Int(0);
    return row.status();
  });
  if (!status.ok()) return status;
  return count;
}

absl::StatusOr<double> Store::OpenWork(int64_t study) {
  double work = 0;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kOpenWork);
    if (row.Bind(study).Next()) work = row.Real(0);
    return row.status();
  });
  if (!status.ok()) return status;
  return work;
}

// ---- what the executor does

absl::StatusOr<QueuedRuns> Store::NextQueued(int limit) {
  QueuedRuns queued;
  const auto status = Read([&](Connection& connection) -> absl::Status {
    {
      Statement rows = connection.Prepare(sql::kSelectQueuedRuns);
      rows.Bind(limit);
      while (rows.Next()) {
        queued.study = rows.Int(0);
        queued.runs.push_back(ToRun(rows));
      }
      if (!rows.status().ok() || queued.runs.empty()) return rows.status();
    }
    Statement row = connection.Prepare(sql::kSelectStudy);
    if (row.Bind(queued.study).Next()) queued.spec = ToStudy(row).spec();
    return row.status();
  });
  if (!status.ok()) return status;
  return queued;
}

absl::Status Store::StartRuns(int64_t study, std::span<const int64_t> numbers, const std::string& device) {
  return Write([&](Connection& connection) {
    const int64_t now = NowMilliseconds();
    absl::Status status = connection.Prepare(sql::kStartStudy).Bind(study, now).Run();
    for (const int64_t number : numbers) {
      status.Update(connection.Prepare(sql::kStartRun).Bind(study, number, now, device).Run());
    }
    status.Update(CountChange(connection, study));
    return status;
  });
}

absl::Status Store::RequeueRuns(int64_t study, std::span<const int64_t> numbers) {
  return Write([&](Connection& connection) {
    absl::Status status;
    for (const int64_t number : numbers) {
      status.Update(connection.Prepare(sql::kRequeueRun).Bind(study, number).Run());
    }
    status.Update(CountChange(connection, study));
    return status;
  });
}

static std::string ObservableBytes(const std::vector<v1::Observable>& observables) {
  v1::RunSamples list;
  list.mutable_observables()->Assign(observables.begin(), observables.end());
  return list.SerializeAsString();
}

absl::Status Store::SetObservables(int64_t study, std::span<const int64_t> numbers,
                                   std::span<const std::vector<v1::Observable>> observables) {
  return Write([&](Connection& connection) {
    absl::Status status;
    std::string written;  // runs next to each other mostly share one list
    int64_t id = 0;
    for (size_t i = 0; i < numbers.size(); ++i) {
      if (const std::string bytes = ObservableBytes(observables[i]); id == 0 || bytes != written) {
        Statement insert = connection.Prepare(sql::kInsertObservables);
        if (!insert.Bind(Statement::AsBlob(bytes)).Next()) return insert.status();
        id = insert.Int(0);
        written = bytes;
      }
      status.Update(connection.Prepare(sql::kSetObservables).Bind(study, numbers[i], id).Run());
    }
    return status;
  });
}

static absl::Status Append(Connection& connection, int64_t study, int64_t number, const SampleRows& samples) {
  if (samples.size() == 0) return absl::OkStatus();
  const double last_time = samples.row(samples.size() - 1)[1];
  const std::string packed = Pack(samples.numbers);
  return connection.Prepare(sql::kInsertSegment)
      .Bind(study, number, static_cast<int64_t>(samples.size()), last_time, Statement::AsBlob(packed))
      .Run();
}

static std::string FaultBytes(const std::vector<v1::Fault>& faults) {
  v1::Run holder;
  holder.mutable_faults_passed()->Assign(faults.begin(), faults.end());
  return holder.SerializeAsString();
}

static absl::Status Update(Connection& connection, int64_t study, const RunUpdate& update) {
  const int state = update.state;
  const auto new_samples = static_cast<int64_t>(update.samples.size());
  Statement statement = connection.Prepare(sql::kUpdateRun);
  const std::string fault = update.fault ? update.fault->SerializeAsString() : "";
  statement.Bind(study, update.number, state, update.step, update.time, new_samples);
  if (update.fault) statement.BindAt(7, Statement::AsBlob(fault));
  if (update.state != v1::Run::STATE_RUNNING) statement.BindAt(8, NowMilliseconds());
  const std::string passed = FaultBytes(update.faults_passed);
  if (!passed.empty()) statement.BindAt(9, Statement::AsBlob(passed));
  if (!update.alarm.empty()) statement.BindAt(10, update.alarm);
  return statement.Run();
}

static std::string StateFileOf(int64_t study, int64_t number) {
  return std::to_string(study) + "-" + std::to_string(number) + ".bed";
}

static absl::Status NoteState(Connection& connection, int64_t study, const RunUpdate& update) {
  if (!update.end_state) return absl::OkStatus();
  const EndState& state = *update.end_state;
  return connection.Prepare(sql::kInsertEndState)
      .Bind(study, update.number, static_cast<int64_t>(state.bytes.size()),
            static_cast<int64_t>(ChecksumOf(state.bytes)), state.side_x, state.side_y)
      .Run();
}

absl::Status Store::RecordProgress(int64_t study, std::span<const RunUpdate> updates) {
  // Files first: what the database knows of is there.
  std::vector<WholeFile> states;
  for (const RunUpdate& update : updates) {
    if (update.end_state) states.push_back({StateFileOf(study, update.number), update.end_state->bytes});
  }
  if (!states.empty()) {
    if (auto status = WriteWhole(states_, states); !status.ok()) return status;
  }
  return Write([&](Connection& connection) {
    absl::Status status;
    for (const RunUpdate& update : updates) {
      status.Update(Append(connection, study, update.number, update.samples));
      status.Update(NoteState(connection, study, update));
      status.Update(Update(connection, study, update));
    }
    status.Update(CountChange(connection, study));
    return status;
  });
}

absl::StatusOr<EndState> Store::GetEndState(int64_t study, int64_t number) {
  EndState state;
  int64_t length = -1, checksum = 0;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectEndState);
    if (row.Bind(study, number).Next()) {
      length = row.Int(0);
      checksum = row.Int(1);
      state.side_x = row.Real(2);
      state.side_y = row.Real(3);
    }
    return row.status();
  });
  if (!status.ok()) return status;
  if (length < 0) {
    return absl::FailedPreconditionError("studies/" + std::to_string(study) + "/runs/" + std::to_string(number) +
                                         " left no state; only a run that ran to its end does, with this version of "
                                         "the server");
  }
  auto bytes = ReadWhole(states_ + "/" + StateFileOf(study, number), length, static_cast<uint32_t>(checksum));
  if (!bytes.ok()) return bytes.status();
  state.bytes = *std::move(bytes);
  return state;
}

// ---- series

absl::StatusOr<std::vector<v1::Observable>> Store::GetObservables(int64_t study, int64_t number) {
  v1::RunSamples list;
  const auto status = Read([&](Connection& connection) {
    Statement row = connection.Prepare(sql::kSelectObservables);
    if (row.Bind(study, number).Next()) list.ParseFromString(row.Text(0));
    return row.status();
  });
  if (!status.ok()) return status;
  return std::vector<v1::Observable>(list.observables().begin(), list.observables().end());
}

/// Appends the rows of a segment, from a sequence on and up to a limit.
static void AppendSegment(const Statement& segment, int64_t from, int limit, SampleRows* rows) {
  const int64_t first = segment.Int(0), count = segment.Int(1);
  const std::vector<double> numbers = Unpack(segment.Text(2));
  rows->width = numbers.size() / count;
  const int64_t skipped = std::clamp<int64_t>(from - first, 0, count);
  const int64_t taken = std::min<int64_t>(count - skipped, limit - static_cast<int64_t>(rows->size()));
  if (taken <= 0) return;
  if (rows->numbers.empty()) rows->first = first + skipped;
  const auto begin = numbers.begin() + skipped * static_cast<int64_t>(rows->width);
  rows->numbers.insert(rows->numbers.end(), begin, begin + taken * static_cast<int64_t>(rows->width));
}

absl::StatusOr<SampleRows> Store::ReadSamples(int64_t study, int64_t number, int64_t from, int limit) {
  SampleRows rows;
  const auto status = Read([&](Connection& connection) {
    Statement segments = connection.Prepare(sql::kSelectSegments);
    segments.Bind(study, number, from);
    while (static_cast<int>(rows.size()) < limit && segments.Next()) AppendSegment(segments, from, limit, &rows);
    return segments.status();
  });
  if (!status.ok()) return status;
  return rows;
}

absl::StatusOr<SampleRows> Store::ReadSamplesSince(int64_t study, int64_t number, double time) {
  SampleRows rows;
  const auto status = Read([&](Connection& connection) {
    Statement segments = connection.Prepare(sql::kSelectLateSegments);
    segments.Bind(study, number, time);
    while (segments.Next()) AppendSegment(segments, 0, std::numeric_limits<int>::max(), &rows);
    return segments.status();
  });
  if (!status.ok()) return status;
  return rows;
}

}  // namespace gyrebox::store
