// Edits of studies by users: annotations, archiving, exclusion of runs.
#include <algorithm>

#include "store/rows.h"
#include "store/space.h"
#include "store/sql/space.h"
#include "store/sql/studies.h"
#include "store/studies.h"

namespace gyrebox::store {

absl::Status NoteEdit(Connection& connection, int64_t study, const std::string& user, const std::string& what) {
  absl::Status status = connection.Prepare(sql::kInsertEdit).Bind(study, user, NowMilliseconds(), what).Run();
  status.Update(CountChange(connection, study));
  return status;
}

absl::Status CheckEtag(Connection& connection, int64_t id, const v1::Study& study, const std::string& etag,
                       bool whole) {
  const auto edits_of = [](const std::string& text) { return text.substr(0, text.find('-')); };
  if (etag.empty() || etag == study.etag()) return absl::OkStatus();
  if (!whole && edits_of(etag) == edits_of(study.etag())) return absl::OkStatus();
  std::string since, seen = edits_of(etag);
  bool known = seen == "0";
  Statement rows = connection.Prepare(sql::kSelectEdits);
  rows.Bind(id);
  while (rows.Next()) {
    if (known) since += (since.empty() ? "" : "; ") + rows.Text(1) + " " + rows.Text(2);
    known = known || std::to_string(rows.Int(0)) == seen;
  }
  if (!rows.status().ok()) return rows.status();
  if (since.empty()) since = known ? "its runs went on or were changed" : "that etag is none of this study";
  return absl::AbortedError(study.name() + " has changed since etag " + etag + ", it is " + study.etag() +
                            " now: " + since);
}

absl::Status TakeUp(Connection& connection, int64_t study) {
  return connection.Prepare(sql::kSetArchived).Bind(study, 0).Run();
}

static absl::Status SetLabels(Connection& connection, int64_t id, const std::vector<std::string>& labels) {
  absl::Status status = connection.Prepare(sql::kDropLabels).Bind(id).Run();
  for (const std::string& label : labels) {
    status.Update(connection.Prepare(sql::kInsertLabel).Bind(id, label).Run());
  }
  return status;
}

static std::string LabelsText(const std::vector<std::string>& labels) {
  std::string text;
  for (const std::string& label : labels) text += (text.empty() ? "" : ", ") + label;
  return text.empty() ? "took its labels off" : "labelled it " + text;
}

absl::StatusOr<v1::Study> Studies::Update(int64_t id, const StudyWords& words, const std::string& etag,
                                          const std::string& user) {
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    absl::Status done = CheckEtag(connection, id, *study, etag);
    if (!done.ok()) return done;
    if (words.note && *words.note != study->note()) {
      done.Update(connection.Prepare(sql::kSetNote).Bind(id, *words.note).Run());
      done.Update(NoteEdit(connection, id, user, "changed its note"));
    }
    if (words.labels) {
      std::vector<std::string> labels = *words.labels;
      std::sort(labels.begin(), labels.end());
      if (!std::equal(labels.begin(), labels.end(), study->labels().begin(), study->labels().end())) {
        done.Update(SetLabels(connection, id, labels));
        done.Update(NoteEdit(connection, id, user, LabelsText(labels)));
      }
    }
    if (done.ok()) study = SelectStudy(connection, id);
    return done.ok() ? study.status() : done;
  });
  if (!status.ok()) return status;
  return study;
}

/// Sets the owner of a study; its bytes on disk count as the new owner's.
static absl::Status SetOwner(Connection& connection, int64_t id, const v1::Study& study, const std::string& owner) {
  const int64_t bytes = study.stored_byte_count();
  absl::Status done = connection.Prepare(sql::kAddStoredBytes).Bind(id, -bytes).Run();
  done.Update(connection.Prepare(sql::kSetOwner).Bind(id, owner).Run());
  done.Update(connection.Prepare(sql::kAddStoredBytes).Bind(id, bytes).Run());
  return done;
}

absl::StatusOr<v1::Study> Studies::Give(int64_t id, const std::string& owner, const std::string& etag,
                                        const std::string& user) {
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    study = SelectStudy(connection, id);
    if (!study.ok()) return study.status();
    absl::Status done = CheckEtag(connection, id, *study, etag);
    if (!done.ok() || study->owner() == owner) return done;
    const v1::RunCounts& counts = study->run_counts();
    done.Update(CheckRuns(connection, space_.bounds(), owner, counts.queued_count() + counts.paused_count()));
    if (!done.ok()) return done;
    done.Update(SetOwner(connection, id, *study, owner));
    done.Update(CheckBytes(connection, space_.bounds(), owner));
    done.Update(NoteEdit(connection, id, user, "gave it from " + study->owner() + " to " + owner));
    if (done.ok()) study = SelectStudy(connection, id);
    return done.ok() ? study.status() : done;
  });
  if (!status.ok()) return status;
  return study;
}

absl::StatusOr<v1::Study> Studies::Archive(int64_t id, bool archived, const std::string& user) {
  absl::StatusOr<v1::Study> study = absl::InternalError("not read");
  const auto status = connections_.Write([&](Connection& connection) -> absl::Status {
    study = SelectStudy(connection, id);
    if (!study.ok() || study->archived() == archived) return study.status();
    if (archived && !study->has_end_time()) {
      return absl::FailedPreconditionError(study->name() +
                                           " has runs that are not at their end; it can be archived once they are");
    }
    absl::Status done = connection.Prepare(sql::kSetArchived).Bind(id, archived ? 1 : 0).Run();
    done.Update(NoteEdit(connection, id, user, archived ? "archived it" : "took it back from the archive"));
    if (done.ok()) study = SelectStudy(connection, id);
    return done.ok() ? study.status() : done;
  });
  if (!status.ok()) return status;
  return study;
}

}  // namespace gyrebox::store
