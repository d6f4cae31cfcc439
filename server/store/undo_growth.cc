// The last growth of a study is taken back.
#include "store/connections.h"
#include "store/names.h"
#include "store/rows.h"
#include "store/space.h"
#include "store/sql/studies.h"
#include "store/studies.h"
#include "study/return_if_error.h"

namespace gyrebox::store {

/// See kSetGrowth.
struct LastGrowth {
  v1::StudySpec before;
  int64_t first = 0, bytes = 0;
};

static absl::StatusOr<LastGrowth> SelectGrowth(Connection& connection, int64_t id, const std::string& name) {
  LastGrowth growth;
  {
    Statement row = connection.Prepare(sql::kSelectGrowth);
    if (!row.Bind(id).Next()) {
      if (!row.status().ok()) return row.status();
      return absl::FailedPreconditionError(name + " has no growth to take back; only the last one can be, once");
    }
    if (!growth.before.ParseFromString(row.Text(0)))
      return absl::DataLossError("the spec before the growth is damaged");
    growth.first = row.Int(1);
    growth.bytes = row.Int(2);
  }
  Statement started = connection.Prepare(sql::kSelectStartedGrown);
  if (!started.Bind(id, growth.first).Next()) {
    if (!started.status().ok()) return started.status();
    return growth;
  }
  return absl::FailedPreconditionError("the growth of " + name + " cannot be taken back: its run " +
                                       NameOfRun(id, started.Int(0)) +
                                       " has started or was changed; gyrebox exclude leaves single runs out");
}

absl::StatusOr<v1::Study> Studies::UndoGrowth(int64_t id, const std::string& etag, const std::string& user) {
  std::lock_guard lock(growing_mutex_);
  GYREBOX_RETURN_IF_ERROR(connections_.Write([&](Connection& connection) -> absl::Status {
    const auto study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    GYREBOX_RETURN_IF_ERROR(CheckEtag(connection, id, *study, etag));
    const auto growth = SelectGrowth(connection, id, study->name());
    if (!growth.ok()) return growth.status();
    const auto count = CountRows(connection.Prepare(sql::kHideGrown).Bind(id, growth->first));
    if (!count.ok()) return count.status();
    absl::Status done = SetSpec(connection, id, growth->before);
    if (growth->bytes > 0) done.Update(connection.Prepare(sql::kCutAxisValues).Bind(id, growth->bytes).Run());
    {
      Statement forget = connection.Prepare(sql::kSetGrowth);
      forget.BindAt(1, id);
      done.Update(forget.Run());
    }
    done.Update(CountBytesOfRuns(connection, id, -*count));
    done.Update(NoteEdit(connection, id, user, "took its last growth back, " + std::to_string(*count) + " runs"));
    return done;
  }));
  GYREBOX_RETURN_IF_ERROR(EraseHidden(id));
  return Get(id);
}

}  // namespace gyrebox::store
