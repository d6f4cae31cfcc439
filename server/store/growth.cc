// Studies that grow.
#include "store/rows.h"
#include "store/sql/statements.h"
#include "store/store.h"
#include "store/writes.h"

namespace gyrebox::store {

static absl::Status InsertRuns(Connection& connection, int64_t id, const std::vector<NewRun>& runs) {
  int64_t number = 0, change = 0;
  int priority = 0;
  {
    Statement next = connection.Prepare(sql::kSelectNextRun);
    if (!next.Bind(id).Next()) return next.status();
    number = next.Int(0);
    change = next.Int(1);
    priority = static_cast<int>(next.Int(2));
  }
  for (const NewRun& run : runs) {
    if (auto status = InsertRun(connection, id, number++, run, priority, change); !status.ok()) return status;
  }
  return CountBytesOfRuns(connection, id, runs.size());
}

static absl::Status WriteGrowth(Connection& connection, int64_t id, const Growth& growth) {
  const std::string spec = growth.spec.SerializeAsString();
  absl::Status status = connection.Prepare(sql::kSetSpec).Bind(id, Statement::AsBlob(spec)).Run();
  const auto& values = growth.old_run_values;
  if (!values.empty()) {
    const auto bytes = Statement::AsBlob(values.data(), values.size() * sizeof(double));
    status.Update(connection.Prepare(sql::kAppendAxisValues).Bind(id, bytes).Run());
  }
  status.Update(InsertRuns(connection, id, growth.runs));
  status.Update(TakeUp(connection, id));
  return status;
}

absl::StatusOr<v1::Study> Store::GrowStudy(int64_t id, const Growth& growth, const Request& request,
                                           const std::string& etag, const std::string& person) {
  if (auto status = CheckReserve(bounds_, FreeDisk()); !status.ok()) return status;
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  const auto status = Write([&](Connection& connection) -> absl::Status {
    study = SelectStudy(connection, id);
    const auto earlier = SelectRequest(connection, request);
    if (!study.ok() || !earlier.ok()) return study.ok() ? earlier.status() : study.status();
    if (earlier->has_value()) return absl::OkStatus();
    if (study->state() == v1::Study::STATE_CANCELLED) {
      return absl::FailedPreconditionError(study->name() + " is CANCELLED and cannot grow; submit a study anew");
    }
    absl::Status done = CheckEtag(connection, id, *study, etag);
    done.Update(CheckRuns(connection, bounds_, study->owner(), static_cast<int64_t>(growth.runs.size())));
    if (!done.ok()) return done;
    done.Update(WriteGrowth(connection, id, growth));
    done.Update(WriteRequest(connection, request, {id, static_cast<int64_t>(growth.runs.size()), {}}));
    done.Update(NoteEdit(connection, id, person, "added " + growth.what));
    done.Update(CheckBytes(connection, bounds_, study->owner()));
    if (done.ok()) study = SelectStudy(connection, id);
    return done.ok() ? study.status() : done;
  });
  if (!status.ok()) return status;
  return study;
}

}  // namespace gyrebox::store
