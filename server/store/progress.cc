// Progress of runs, as recorded by the executor.
#include <tbb/parallel_for.h>
#include <tbb/task_arena.h>

#include <algorithm>

#include "store/frames.h"
#include "store/journals.h"
#include "store/packed.h"
#include "store/rows.h"
#include "store/runs.h"
#include "store/series.h"
#include "store/sql/runs.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "store/states.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

static absl::Status Update(Connection& connection, int64_t study, const RunUpdate& update) {
  const int state = update.state;
  const auto new_samples = static_cast<int64_t>(update.samples.size());
  Statement statement = connection.Prepare(sql::kUpdateRun);
  const std::string fault = update.fault ? update.fault->SerializeAsString() : "";
  statement.Bind(study, update.number, state, update.step, update.time, new_samples);
  if (update.fault) statement.BindAt(7, Statement::AsBlob(fault));
  if (update.state >= v1::Run::STATE_FINISHED) statement.BindAt(8, NowMilliseconds());
  const std::string passed = FaultBytes(update.recovered_faults);
  if (!passed.empty()) statement.BindAt(9, Statement::AsBlob(passed));
  if (!update.warning.empty()) statement.BindAt(10, update.warning);
  // The entry of a pause by the server states the reason.
  if (update.state == v1::Run::STATE_PAUSED && update.entry) statement.BindAt(11, update.entry->reason());
  return statement.Run();
}

static absl::Status CancelThoseThatWouldWait(Connection& connection, int64_t study, std::vector<RunUpdate>& updates) {
  Statement row = connection.Prepare(sql::kIsCancelled);
  const bool cancelled = row.Bind(study).Next() && row.Int(0) != 0;
  for (RunUpdate& update : updates) {
    const bool waits = update.state == v1::Run::STATE_QUEUED || update.state == v1::Run::STATE_PAUSED;
    if (cancelled && waits) update.state = v1::Run::STATE_CANCELLED;
  }
  return row.status();
}

/// Packs the samples of each update. A GPU produces more than one thread can pack; the host has other work, so use at
/// most 4 threads.
static std::vector<PackedSamples> PackSamples(const std::vector<RunUpdate>& updates) {
  const int threads = std::min(4, tbb::this_task_arena::max_concurrency());
  std::vector<PackedSamples> packed(updates.size());
  tbb::task_arena(threads).execute([&] {
    tbb::parallel_for(size_t{0}, updates.size(), [&](size_t i) {
      const SampleRows& samples = updates[i].samples;
      if (samples.size() > 0) packed[i] = Pack(samples.numbers, samples.width, samples.wide);
    });
  });
  return packed;
}

absl::Status Runs::RecordProgress(int64_t study, std::vector<RunUpdate> updates) {
  // Write files first, so that every file in the database exists. Do slow work before the write lock is taken.
  std::vector<WholeFile> files;
  for (const RunUpdate& update : updates) {
    for (const WholeFile& file : FilesOf(study, update)) files.push_back(file);
  }
  const std::vector<PackedSamples> packed = PackSamples(updates);
  if (!files.empty()) {
    GYREBOX_RETURN_IF_ERROR(files_.Write(files));
  }
  std::vector<std::string> unused;
  const absl::Status written = connections_.Write([&](Connection& connection) {
    absl::Status status = CancelThoseThatWouldWait(connection, study, updates);
    for (size_t i = 0; i < updates.size(); ++i) {
      const RunUpdate& update = updates[i];
      // States first: they add the new samples to the sample count of the run before the update.
      status.Update(NoteStates(connection, study, update, &unused));
      status.Update(AppendSamples(connection, study, update.number, update.samples, packed[i]));
      status.Update(AppendFrames(connection, study, update.number, update.frames));
      if (update.entry) status.Update(WriteEntry(connection, study, update.number, *update.entry).status());
      status.Update(Update(connection, study, update));
    }
    status.Update(CountChange(connection, study));
    return status;
  });
  if (!written.ok()) return written;
  files_.Remove(unused);
  int64_t bytes = 0;
  for (const PackedSamples& samples : packed) {
    bytes += static_cast<int64_t>(samples.singles.size() + samples.wide.size());
  }
  connections_.Settle(bytes);
  return written;
}

}  // namespace gyrebox::store
