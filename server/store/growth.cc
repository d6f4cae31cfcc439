// Growth of studies.
#include "store/connections.h"
#include "store/requests.h"
#include "store/space.h"
#include "store/sql/studies.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// Number, change count and priority of the first run added to a study.
struct Next {
  int64_t number = 0, change = 0;
  int priority = 0;
};

static absl::StatusOr<Next> SelectNext(Connection& connection, int64_t id) {
  Statement next = connection.Prepare(sql::kSelectNextRun);
  if (!next.Bind(id).Next()) return next.status();
  return Next{next.Int(0), next.Int(1), static_cast<int>(next.Int(2))};
}

static absl::Status InsertRuns(Connection& connection, int64_t id, const std::vector<NewRun>& runs) {
  auto next = SelectNext(connection, id);
  if (!next.ok()) return next.status();
  for (const NewRun& run : runs) {
    auto status = InsertRun(connection, id, next->number++, run, next->priority, next->change);
    if (!status.ok()) return status;
  }
  return absl::OkStatus();
}

static absl::Status WriteGrowth(Connection& connection, const v1::Study& study, int64_t id, const Growth& growth,
                                int64_t first) {
  const std::string before = study.spec().SerializeAsString();
  const auto bytes_of_values = static_cast<int64_t>(growth.old_run_values.size() * sizeof(double));
  absl::Status status =
      connection.Prepare(sql::kSetGrowth).Bind(id, Statement::AsBlob(before), first, bytes_of_values).Run();
  status.Update(SetSpec(connection, id, growth.spec));
  const auto& values = growth.old_run_values;
  if (!values.empty()) {
    const auto bytes = Statement::AsBlob(values.data(), values.size() * sizeof(double));
    status.Update(connection.Prepare(sql::kAppendAxisValues).Bind(id, bytes).Run());
  }
  status.Update(TakeUp(connection, id));
  return status;
}

/// Checks whether a growth can be written. @return the current study, or no value if the growth was written before.
static absl::StatusOr<std::optional<v1::Study>> CheckMayGrow(Connection& connection, int64_t id, const Growth& growth,
                                                             const Bounds& bounds, const Request& request,
                                                             const std::string& etag) {
  auto study = SelectStudy(connection, id);
  const auto earlier = SelectRequest(connection, request);
  if (!study.ok() || !earlier.ok()) return study.ok() ? earlier.status() : study.status();
  if (earlier->has_value()) return std::nullopt;
  if (study->state() == v1::Study::STATE_CANCELLED) {
    return CancelledCannotGrow(study->name());
  }
  absl::Status status = CheckEtag(connection, id, *study, etag);
  status.Update(CheckRuns(connection, bounds, study->owner(), static_cast<int64_t>(growth.runs.size())));
  if (!status.ok()) return status;
  return *std::move(study);
}

/// Writes a growth. @param runs the new runs that are not yet inserted.
static absl::Status AcceptGrowth(Connection& connection, const v1::Study& study, int64_t id, const Growth& growth,
                                 const std::vector<NewRun>& runs, const Bounds& bounds, const Request& request,
                                 const std::string& user) {
  // Runs that are inserted already are the last ones.
  const auto next = SelectNext(connection, id);
  if (!next.ok()) return next.status();
  const auto inserted = static_cast<int64_t>(growth.runs.size() - runs.size());
  absl::Status done = WriteGrowth(connection, study, id, growth, next->number - inserted);
  if (!runs.empty()) done.Update(InsertRuns(connection, id, runs));
  done.Update(CountBytesOfRuns(connection, id, static_cast<int64_t>(growth.runs.size())));
  done.Update(WriteRequest(connection, request, {id, static_cast<int64_t>(growth.runs.size()), {}}));
  done.Update(NoteEdit(connection, id, user, "added " + growth.what));
  done.Update(CheckBytes(connection, bounds, study.owner()));
  return done;
}

absl::Status CancelledCannotGrow(const std::string& name) {
  return absl::FailedPreconditionError(
      name + " is CANCELLED and cannot grow; start its cancelled runs again first: " + "gyrebox restart");
}

absl::StatusOr<v1::Study> Studies::Grow(int64_t id, const Growth& growth, const Request& request,
                                        const std::string& etag, const std::string& user) {
  GYREBOX_RETURN_IF_ERROR(space_.CheckReserve());
  if (Connections::TakesSlices(growth.runs.size())) return GrowInSlices(id, growth, request, etag, user);
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    const auto may = CheckMayGrow(connection, id, growth, space_.bounds(), request, etag);
    absl::Status done = may.status();
    if (done.ok() && may->has_value()) {
      done = AcceptGrowth(connection, **may, id, growth, growth.runs, space_.bounds(), request, user);
    }
    if (done.ok()) study = SelectStudy(connection, id);
    return done.ok() ? study.status() : done;
  });
  if (!status.ok()) return status;
  return study;
}

// Inserts the runs invisibly, accepts the growth in one transaction, then makes the runs join the study.
absl::StatusOr<v1::Study> Studies::GrowInSlices(int64_t id, const Growth& growth, const Request& request,
                                                const std::string& etag, const std::string& user) {
  std::lock_guard lock(growing_mutex_);
  bool known = false;
  v1::Study study;
  absl::StatusOr<Next> next = Next();
  const auto check = [&](Connection& connection) -> absl::Status {
    const auto may = CheckMayGrow(connection, id, growth, space_.bounds(), request, etag);
    known = may.ok() && !may->has_value();
    if (may.ok() && !known) study = **may;
    if (may.ok()) next = SelectNext(connection, id);
    return may.ok() ? next.status() : may.status();
  };
  GYREBOX_RETURN_IF_ERROR(connections_.Read(check));
  if (known) return Get(id);
  absl::Status status = connections_.InsertInSlices(growth.runs.size(), [&](Connection& connection, size_t i) {
    return InsertRun(connection, id, next->number + static_cast<int64_t>(i), growth.runs[i], next->priority,
                     next->change, kJoining);
  });
  if (status.ok()) {
    status = connections_.Write([&](Connection& connection) -> absl::Status {
      absl::Status done = check(connection);
      if (!done.ok() || known) return done;
      done.Update(AcceptGrowth(connection, study, id, growth, {}, space_.bounds(), request, user));
      done.Update(connection.Prepare(sql::kSetJoining).Bind(id, 1).Run());
      return done;
    });
  }
  if (!status.ok() || known) (void)EraseHidden(id);
  if (status.ok() && !known) status = JoinRuns(id);
  if (!status.ok()) return status;
  return Get(id);
}

}  // namespace gyrebox::store
