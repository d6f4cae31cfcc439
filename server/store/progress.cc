// What the executor writes down of runs under way.
#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"

namespace gyrebox::store {

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

std::string FaultBytes(const std::vector<v1::Fault>& faults) {
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
  if (update.state >= v1::Run::STATE_FINISHED) statement.BindAt(8, NowMilliseconds());
  const std::string passed = FaultBytes(update.faults_passed);
  if (!passed.empty()) statement.BindAt(9, Statement::AsBlob(passed));
  if (!update.alarm.empty()) statement.BindAt(10, update.alarm);
  return statement.Run();
}

absl::Status Store::RecordProgress(int64_t study, std::span<const RunUpdate> updates) {
  // Files first: what the database knows of is there.
  std::vector<WholeFile> files;
  for (const RunUpdate& update : updates) {
    for (WholeFile& file : FilesOf(study, update)) files.push_back(std::move(file));
  }
  if (!files.empty()) {
    if (auto status = WriteWhole(states_, files); !status.ok()) return status;
  }
  std::vector<std::string> unused;
  const absl::Status written = Write([&](Connection& connection) {
    absl::Status status;
    for (const RunUpdate& update : updates) {
      // The states count the samples that come with them, and look at the run as it was before the update.
      status.Update(NoteStates(connection, study, update, &unused));
      status.Update(AppendSamples(connection, study, update.number, update.samples));
      status.Update(AppendFrames(connection, study, update.number, update.frames));
      if (update.entry) status.Update(WriteEntry(connection, study, update.number, *update.entry));
      status.Update(Update(connection, study, update));
    }
    status.Update(CountChange(connection, study));
    return status;
  });
  if (written.ok()) RemoveFiles(unused);
  return written;
}

}  // namespace gyrebox::store
