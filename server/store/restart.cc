// Cancelled runs return to the queue.
#include <algorithm>

#include "store/names.h"
#include "store/runs.h"
#include "store/sql/runs.h"
#include "store/sql/studies.h"
#include "store/state_rows.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// Numbers of the first cancelled runs above a number. @param number of the only run meant; 0 for all.
static absl::StatusOr<std::vector<int64_t>> SelectCancelled(Connection& connection, int64_t study, int64_t number,
                                                            int64_t above, int64_t limit) {
  std::vector<int64_t> numbers;
  Statement rows = connection.Prepare(sql::kSelectCancelledRuns);
  rows.Bind(study, number, above, limit);
  while (rows.Next()) numbers.push_back(rows.Int(0));
  if (!rows.status().ok()) return rows.status();
  return numbers;
}

/// Checks that there are runs to restart and that none is on its way off the device.
static absl::Status CheckMayRestart(Connection& connection, int64_t study, int64_t number) {
  GYREBOX_RETURN_IF_ERROR(SelectStudy(connection, study).status());
  const std::string name = number > 0 ? NameOfRun(study, number) : "studies/" + std::to_string(study);
  Statement cancelled = connection.Prepare(sql::kIsCancelled);
  Statement on_device = connection.Prepare(sql::kHasRunsOnDevice);
  if (cancelled.Bind(study).Next() && cancelled.Int(0) != 0 && on_device.Bind(study).Next()) {
    return absl::FailedPreconditionError("cancelled runs of studies/" + std::to_string(study) +
                                         " are still on the device; try again in a moment");
  }
  const auto first = SelectCancelled(connection, study, number, 0, 1);
  if (!first.ok() || !first->empty()) return first.status();
  return absl::FailedPreconditionError("no run of " + name + " is cancelled; only cancelled runs can be started again");
}

absl::StatusOr<int64_t> Runs::Restart(int64_t study, int64_t number, const std::string& user) {
  // From here on runs that leave the device wait: the mark goes first.
  absl::Status status = connections_.Write([&](Connection& connection) -> absl::Status {
    GYREBOX_RETURN_IF_ERROR(CheckMayRestart(connection, study, number));
    absl::Status done = connection.Prepare(sql::kResumeStudy).Bind(study).Run();
    done.Update(TakeUp(connection, study));
    done.Update(NoteEdit(connection, study, user,
                         number > 0 ? "started run " + std::to_string(number) + " again"
                                    : std::string("started its cancelled runs again")));
    return done;
  });
  int64_t all = 0, last = 0;
  if (status.ok()) {
    status = connections_.WriteInSlices([&](Connection& connection, int64_t most) -> absl::StatusOr<int64_t> {
      const auto numbers = SelectCancelled(connection, study, number, last, most);
      if (!numbers.ok()) return numbers.status();
      for (const int64_t one : *numbers) GYREBOX_RETURN_IF_ERROR(RollBack(connection, study, one));
      GYREBOX_RETURN_IF_ERROR(CountChange(connection, study));
      if (!numbers->empty()) last = numbers->back();
      all += static_cast<int64_t>(numbers->size());
      return static_cast<int64_t>(numbers->size());
    });
  }
  if (!status.ok()) return status;
  return all;
}

}  // namespace gyrebox::store
