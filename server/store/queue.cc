// Waiting runs, and those taken by a device.
#include "store/queue.h"

#include "store/rows.h"
#include "store/sql/queue.h"
#include "store/sql/runs.h"
#include "store/sql/states.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

absl::StatusOr<std::vector<WaitingStudy>> Queue::ListWaiting() {
  std::vector<WaitingStudy> waiting;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectWaiting);
    while (rows.Next()) {
      waiting.push_back({rows.Int(0), rows.Text(1), static_cast<int>(rows.Int(2)), static_cast<int>(rows.Int(3))});
    }
    return rows.status();
  });
  if (!status.ok()) return status;
  return waiting;
}

absl::StatusOr<QueuedRuns> Queue::ListQueued(int64_t study, int limit) {
  QueuedRuns queued;
  queued.study = study;
  const auto status = connections_.Read([&](Connection& connection) -> absl::Status {
    {
      Statement rows = connection.Prepare(sql::kSelectQueuedRuns);
      rows.Bind(study, limit);
      while (rows.Next()) queued.runs.push_back(ToRun(rows));
      if (!rows.status().ok()) return rows.status();
    }
    Statement row = connection.Prepare(sql::kSelectStudy);
    if (row.Bind(study).Next()) queued.spec = ToStudy(row).spec();
    return row.status();
  });
  if (!status.ok()) return status;
  return queued;
}

absl::StatusOr<std::map<int64_t, double>> Queue::OpenWork() {
  std::map<int64_t, double> work;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kOpenWork);
    while (rows.Next()) work[rows.Int(0)] = rows.Real(1);
    return rows.status();
  });
  if (!status.ok()) return status;
  return work;
}

absl::StatusOr<std::vector<int64_t>> Queue::Start(int64_t study, std::span<const int64_t> numbers,
                                                  const std::string& device) {
  std::vector<int64_t> taken;
  const absl::Status written = connections_.Write([&](Connection& connection) {
    taken.clear();
    const int64_t now = NowMilliseconds();
    absl::Status status = connection.Prepare(sql::kStartStudy).Bind(study, now).Run();
    for (const int64_t number : numbers) {
      Statement row = connection.Prepare(sql::kStartRun);
      if (row.Bind(study, number, now, device).Next()) taken.push_back(number);
      status.Update(row.status());
    }
    status.Update(CountChange(connection, study));
    return status;
  });
  if (!written.ok()) return written;
  return taken;
}

absl::Status Queue::Requeue(int64_t study, std::span<const int64_t> numbers) {
  return connections_.Write([&](Connection& connection) {
    absl::Status status;
    for (const int64_t number : numbers) {
      status.Update(RollBack(connection, study, number));
    }
    status.Update(CountChange(connection, study));
    return status;
  });
}

absl::StatusOr<int> Queue::SetPriority(int64_t study, int64_t number, int priority) {
  int all = 0;
  int64_t last = 0;  // last run changed
  const auto status = connections_.WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    int64_t count = 0;
    {
      Statement rows = connection.Prepare(sql::kSetPriority);
      rows.Bind(study, number, priority, last, most);
      for (; rows.Next(); ++count) last = std::max(last, rows.Int(0));
      if (!rows.status().ok()) return rows.status();
    }
    all += static_cast<int>(count);
    GYREBOX_RETURN_IF_ERROR(CountChange(connection, study));
    return count;
  });
  if (!status.ok()) return status;
  return all;
}

/// Drops the checkpoints of ended runs. Adds files that no state uses any more to `unused`.
static absl::Status DropCheckpointsOfTheEnded(Connection& connection, std::vector<std::string>* unused) {
  std::vector<std::tuple<int64_t, int64_t, std::string>> dropped;
  {
    Statement rows = connection.Prepare(sql::kDropCheckpointsOfTheEnded);
    while (rows.Next()) dropped.emplace_back(rows.Int(0), rows.Int(1), rows.Text(2));
    if (!rows.status().ok()) return rows.status();
  }
  for (const auto& [study, run, file] : dropped) {
    Statement used = connection.Prepare(sql::kFileIsUsed);
    if (!used.Bind(study, run, file).Next()) unused->push_back(file);
    if (!used.status().ok()) return used.status();
  }
  return absl::OkStatus();
}

absl::Status Queue::RecoverInterrupted() {
  struct Interrupted {
    int64_t study, number;
    bool cancelled;
  };
  std::vector<std::string> unused;
  const auto taken_up = connections_.Write([&unused](Connection& connection) {
    std::vector<Interrupted> runs;
    {
      Statement found = connection.Prepare(sql::kSelectInterruptedRuns);
      while (found.Next()) runs.push_back({found.Int(0), found.Int(1), found.Int(2) != 0});
      if (!found.status().ok()) return found.status();
    }
    absl::Status status;
    std::set<int64_t> studies;
    for (const Interrupted& run : runs) {
      status.Update(
          run.cancelled
              ? connection.Prepare(sql::kCancelInterruptedRun).Bind(run.study, run.number, NowMilliseconds()).Run()
              : RollBack(connection, run.study, run.number));
      studies.insert(run.study);
    }
    status.Update(DropCheckpointsOfTheEnded(connection, &unused));
    for (const int64_t study : studies) status.Update(CountChange(connection, study));
    return status;
  });
  if (taken_up.ok()) files_.Remove(unused);
  return taken_up;
}

}  // namespace gyrebox::store
