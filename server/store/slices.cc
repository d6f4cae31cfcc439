// Creation, growth and cancellation of studies with very many runs, in slices.
#include <algorithm>
#include <chrono>

#include "store/connections.h"
#include "store/requests.h"
#include "store/rows.h"
#include "store/space.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

absl::StatusOr<v1::Study> Studies::CreateInSlices(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
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
  absl::Status status = connections_.Write([&](Connection& connection) -> absl::Status {
    if (auto found = find_earlier(connection); !found.ok() || earlier) return found;
    GYREBOX_RETURN_IF_ERROR(CheckRuns(connection, space_.bounds(), owner, count));
    const auto inserted = InsertStudy(connection, spec, owner);
    id = inserted.value_or(0);
    return inserted.ok() ? connection.Prepare(sql::kBeginMaking).Bind(id).Run() : inserted.status();
  });
  if (!status.ok()) return status;
  if (earlier) return Get(earlier->study);
  status = connections_.InsertInSlices(runs.size(), [&](Connection& connection, size_t i) {
    return InsertRun(connection, id, static_cast<int64_t>(i) + 1, runs[i], priority, /*change=*/1);
  });
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  if (status.ok()) {
    status = connections_.Write([&](Connection& connection) -> absl::Status {
      if (auto found = find_earlier(connection); !found.ok() || earlier) return found;
      absl::Status made = connection.Prepare(sql::kEndMaking).Bind(id).Run();
      made.Update(CountBytesOfRuns(connection, id, count));
      made.Update(TakeStart(connection, files_.path(), id, spec, like));
      made.Update(WriteRequest(connection, request, {id, count, {}}));
      made.Update(CheckBytes(connection, space_.bounds(), owner));
      if (made.ok()) study = SelectStudy(connection, id);
      return made.ok() ? study.status() : made;
    });
  }
  if (status.ok() && !earlier) return study;
  // The study was never visible; it is erased like a deleted one.
  (void)connections_.Write(
      [&](Connection& connection) { return connection.Prepare(sql::kGiveUpMaking).Bind(id).Run(); });
  if (spec.start().has_saved()) files_.Remove({StartFileOf(id)});
  if (!status.ok()) return status;
  return Get(earlier->study);
}

absl::Status Studies::JoinRuns(int64_t id) {
  absl::Status status =
      connections_.WriteInSlices([id](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
        const auto count = CountRows(connection.Prepare(sql::kJoinRuns).Bind(id, most));
        if (!count.ok()) return count;
        GYREBOX_RETURN_IF_ERROR(CountChange(connection, id));
        return count;
      });
  status.Update(connections_.Write(
      [id](Connection& connection) { return connection.Prepare(sql::kSetJoining).Bind(id, 0).Run(); }));
  return status;
}

absl::Status Studies::EraseHidden(int64_t id) {
  return connections_.WriteInSlices([id](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
    return CountRows(connection.Prepare(sql::kEraseJoining).Bind(id, most));
  });
}

absl::Status Studies::EndInterruptedSlices() {
  std::vector<std::pair<int64_t, bool>> joining;
  std::vector<int64_t> cancelled;
  absl::Status status = connections_.Write([&](Connection& connection) -> absl::Status {
    GYREBOX_RETURN_IF_ERROR(connection.Prepare(sql::kGiveUpMaking).Bind(0).Run());
    Statement studies = connection.Prepare(sql::kSelectJoining);
    while (studies.Next()) joining.emplace_back(studies.Int(0), studies.Int(1) != 0);
    if (!studies.status().ok()) return studies.status();
    Statement rows = connection.Prepare(sql::kSelectInterruptedCancels);
    while (rows.Next()) cancelled.push_back(rows.Int(0));
    return rows.status();
  });
  for (const auto& [id, accepted] : joining) {
    if (status.ok()) status = accepted ? JoinRuns(id) : EraseHidden(id);
  }
  for (const int64_t id : cancelled) {
    if (status.ok()) status = CancelWaiting(id);
  }
  return status;
}

absl::Status Studies::CancelWaiting(int64_t id) {
  int64_t last = 0;  // last run cancelled
  return connections_.WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
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

}  // namespace gyrebox::store
