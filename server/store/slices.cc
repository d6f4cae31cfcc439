// Writes of very many rows, in transactions short enough that other writers never wait long.
#include <algorithm>
#include <chrono>

#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

constexpr int64_t kFirstSlice = 200;
constexpr int64_t kMaxRows = 5000;
/// Target duration of a slice; other writers should wait at most twice as long for one.
constexpr double kSliceSeconds = 0.01;

absl::Status Store::WriteInSlices(const SlicedWork& work) {
  using Clock = std::chrono::steady_clock;
  for (int64_t rows = kFirstSlice;;) {
    Clock::time_point begin;
    int64_t done = 0;
    const auto status = Write([&](Connection& connection) {
      begin = Clock::now();
      const auto written = work(connection, rows);
      done = written.value_or(0);
      return written.status();
    });
    if (!status.ok()) return status;
    if (done < rows) return status;
    const double seconds = std::chrono::duration<double>(Clock::now() - begin).count();
    rows = static_cast<int64_t>(static_cast<double>(rows) * std::clamp(kSliceSeconds / seconds, 0.25, 4.0));
    rows = std::clamp<int64_t>(rows, 1, kMaxRows);
  }
}

// ---- new runs

bool TakesSlices(size_t runs) { return runs > static_cast<size_t>(kMaxRows); }

absl::StatusOr<int64_t> CountRows(Statement& rows) {
  int64_t count = 0;
  while (rows.Next()) ++count;
  if (!rows.status().ok()) return rows.status();
  return count;
}

absl::Status Store::InsertInSlices(size_t count, const InsertOne& insert) {
  size_t next = 0;
  return WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    const size_t first = next;
    for (; next < std::min(count, first + static_cast<size_t>(most)); ++next) {
      GYREBOX_RETURN_IF_ERROR(insert(connection, next));
    }
    return static_cast<int64_t>(next - first);
  });
}

absl::StatusOr<v1::Study> Store::CreateInSlices(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                                const Request& request, const std::string& owner, int priority,
                                                int64_t like) {
  const auto count = static_cast<int64_t>(runs.size());
  int64_t id = 0;
  std::optional<Made> earlier;
  const auto find_earlier = [&](Connection& connection) -> absl::Status {
    auto found = SelectRequest(connection, request);
    if (found.ok()) earlier = *std::move(found);
    return found.status();
  };
  absl::Status status = Write([&](Connection& connection) -> absl::Status {
    if (auto found = find_earlier(connection); !found.ok() || earlier) return found;
    GYREBOX_RETURN_IF_ERROR(CheckRuns(connection, bounds_, owner, count));
    const auto inserted = InsertStudy(connection, spec, owner);
    id = inserted.value_or(0);
    return inserted.ok() ? connection.Prepare(sql::kBeginMaking).Bind(id).Run() : inserted.status();
  });
  if (!status.ok()) return status;
  if (earlier) return GetStudy(earlier->study);
  status = InsertInSlices(runs.size(), [&](Connection& connection, size_t i) {
    return InsertRun(connection, id, static_cast<int64_t>(i) + 1, runs[i], priority, /*change=*/1);
  });
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  if (status.ok()) {
    status = Write([&](Connection& connection) -> absl::Status {
      if (auto found = find_earlier(connection); !found.ok() || earlier) return found;
      absl::Status made = connection.Prepare(sql::kEndMaking).Bind(id).Run();
      made.Update(CountBytesOfRuns(connection, id, runs.size()));
      made.Update(TakeStart(connection, states_, id, spec, like));
      made.Update(WriteRequest(connection, request, {id, count, {}}));
      made.Update(CheckBytes(connection, bounds_, owner));
      if (made.ok()) study = SelectStudy(connection, id);
      return made.ok() ? study.status() : made;
    });
  }
  if (status.ok() && !earlier) return study;
  // The study was never visible; it is erased like a deleted one.
  (void)Write([&](Connection& connection) { return connection.Prepare(sql::kGiveUpMaking).Bind(id).Run(); });
  if (spec.start().has_saved()) RemoveFiles({StartFileOf(id)});
  if (!status.ok()) return status;
  return GetStudy(earlier->study);
}

absl::Status Store::JoinRuns(int64_t id) {
  absl::Status status = WriteInSlices([id](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    const auto count = CountRows(connection.Prepare(sql::kJoinRuns).Bind(id, most));
    if (!count.ok()) return count;
    GYREBOX_RETURN_IF_ERROR(CountChange(connection, id));
    return count;
  });
  status.Update(Write([id](Connection& connection) { return connection.Prepare(sql::kSetJoining).Bind(id, 0).Run(); }));
  return status;
}

absl::Status Store::EraseJoining(int64_t id) {
  return WriteInSlices([id](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    return CountRows(connection.Prepare(sql::kEraseJoining).Bind(id, most));
  });
}

absl::Status Store::EndCutOffSlices() {
  std::vector<std::pair<int64_t, bool>> joining;
  std::vector<int64_t> cancelled;
  absl::Status status = Write([&](Connection& connection) -> absl::Status {
    GYREBOX_RETURN_IF_ERROR(connection.Prepare(sql::kGiveUpMaking).Bind(0).Run());
    Statement studies = connection.Prepare(sql::kSelectJoining);
    while (studies.Next()) joining.emplace_back(studies.Int(0), studies.Int(1) != 0);
    if (!studies.status().ok()) return studies.status();
    Statement rows = connection.Prepare(sql::kSelectCutOffCancels);
    while (rows.Next()) cancelled.push_back(rows.Int(0));
    return rows.status();
  });
  for (const auto& [id, accepted] : joining) {
    if (status.ok()) status = accepted ? JoinRuns(id) : EraseJoining(id);
  }
  for (const int64_t id : cancelled) {
    if (status.ok()) status = CancelWaiting(id);
  }
  return status;
}

// ---- cancelled runs, and priorities

absl::Status Store::CancelWaiting(int64_t id) {
  int64_t last = 0;  // last run cancelled
  return WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    int64_t count = 0;
    {
      Statement rows = connection.Prepare(sql::kCancelWaitingRuns);
      rows.Bind(id, NowMilliseconds(), last, most);
      for (; rows.Next(); ++count) last = std::max(last, rows.Int(0));
      if (!rows.status().ok()) return rows.status();
    }
    GYREBOX_RETURN_IF_ERROR(CountChange(connection, id));
    return count;
  });
}

absl::StatusOr<int> Store::SetPriority(int64_t study, int64_t number, int priority) {
  int all = 0;
  int64_t last = 0;  // last run changed
  const auto status = WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
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

}  // namespace gyrebox::store
