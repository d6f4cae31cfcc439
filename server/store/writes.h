/// Parts of transactions shared by several files of the store.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "store/database.h"
#include "store/store.h"

namespace gyrebox::store {

/// Purpose of a state; see layout 5.
enum class StateKind { kCheckpoint = 1, kEnd = 2, kKept = 3 };

/// A state as recorded in the database.
struct StateRow {
  BedBytes bed;  ///< without its bytes
  std::string file;
  int64_t length = 0;
  uint32_t checksum = 0;
  int64_t sample_count = 0;
  std::string recovered_faults;  ///< see FaultBytes()
  std::string warning;
};

/// The state of this kind with the highest step; none if there is none.
absl::StatusOr<std::optional<StateRow>> SelectLastState(Connection& connection, int64_t study, int64_t number,
                                                        StateKind kind);

/// The state of any kind with the highest step up to `at_most`; none if there is none.
absl::StatusOr<std::optional<StateRow>> SelectStateBefore(Connection& connection, int64_t study, int64_t number,
                                                          int64_t at_most);

/// Inserts a study without its runs. @return its id.
absl::StatusOr<int64_t> InsertStudy(Connection& connection, const v1::StudySpec& spec, const std::string& owner);

/// A study as seen in this transaction. NOT_FOUND.
absl::StatusOr<v1::Study> SelectStudy(Connection& connection, int64_t id);

/// Records an edit of a study by a user, and counts the change.
absl::Status NoteEdit(Connection& connection, int64_t study, const std::string& user, const std::string& what);

/// ABORTED, listing the edits, if a user edited a study since an etag. An empty etag skips the check.
/// @param whole checks all changes, including those of its runs.
absl::Status CheckEtag(Connection& connection, int64_t id, const v1::Study& study, const std::string& etag,
                       bool whole = false);

/// Unarchives a study and drops its deletion warning, since it has work again.
absl::Status TakeUp(Connection& connection, int64_t study);

/// Inserts a run. @param change change count of the study. @param state kJoining if the run is not visible yet.
absl::Status InsertRun(Connection& connection, int64_t study, int64_t number, const NewRun& run, int priority,
                       int64_t change, int state = v1::Run::STATE_QUEUED);
/// State of a new run of a growing study until it joins the study.
inline constexpr int kJoining = 0;

/// Whether this many new runs are written in slices.
bool TakesSlices(size_t runs);

/// Runs a statement to its end. @return number of rows.
absl::StatusOr<int64_t> CountRows(Statement& rows);

/// Gives a study its own copy of the state that it starts from, if any. NOT_FOUND if that state is missing.
/// @param states directory of states. @param like see Store::CreateStudy().
absl::Status TakeStart(Connection& connection, const std::string& states, int64_t study, const v1::StudySpec& spec,
                       int64_t like);

/// File of the state that a study starts from.
std::string StartFileOf(int64_t study);

/// Does the same for all studies of an older layout; skips studies whose start state is gone.
absl::Status TakeOldStarts(Connection& connection, const std::string& states);

/// State from a row with the common columns of the statements on states.
StateRow ToStateRow(const Statement& row);

/// NOT_FOUND for this study.
absl::Status NoStudy(int64_t id);

/// See Store::FindRequest().
absl::StatusOr<std::optional<Made>> SelectRequest(Connection& connection, const Request& request);

/// Records the result of a request, if it has an id; adds to its earlier result. ALREADY_EXISTS if the id belongs to a
/// different request.
absl::Status WriteRequest(Connection& connection, const Request& request, const Made& made);

/// RESOURCE_EXHAUSTED if `more` runs would put a user over the limit of waiting and held runs.
absl::Status CheckRuns(Connection& connection, const Bounds& bounds, const std::string& user, int64_t more);

/// RESOURCE_EXHAUSTED if a user has more bytes on disk than the bounds allow, including this transaction so far.
absl::Status CheckBytes(Connection& connection, const Bounds& bounds, const std::string& user);

/// RESOURCE_EXHAUSTED if the free disk space is below the reserve, so that new studies and kept states have to wait.
absl::Status CheckReserve(const Bounds& bounds, int64_t free);

/// Counts a change of a study, and ends the study if none of its runs is open.
absl::Status CountChange(Connection& connection, int64_t study);

/// Adds the disk usage of new runs; triggers in the database count everything else.
absl::Status CountBytesOfRuns(Connection& connection, int64_t study, size_t runs);

/// Appends samples to a series. @param packed see Pack().
absl::Status AppendSamples(Connection& connection, int64_t study, int64_t number, const SampleRows& samples,
                           const PackedSamples& packed);

/// Stores frames of a starting or running run, except those already stored.
absl::Status AppendFrames(Connection& connection, int64_t study, int64_t number, const std::vector<Frame>& frames);

/// Deletes the frames of a run from a step on.
absl::Status CutFrames(Connection& connection, int64_t study, int64_t number, int64_t from_step);

/// Faults as stored; empty if there are none.
std::string FaultBytes(const std::vector<v1::Fault>& faults);

/// Records the states of an update; their files must exist. Adds files that no state uses any more to `unused`.
absl::Status NoteStates(Connection& connection, int64_t study, const RunUpdate& update,
                        std::vector<std::string>* unused);

/// Files of the states of an update, to be written before NoteStates(). Their bytes belong to the update.
std::vector<WholeFile> FilesOf(int64_t study, const RunUpdate& update);

/// Rolls a run back to its newest checkpoint, or to its start if it has none, and queues it. Deletes later samples and
/// frames.
absl::Status RollBack(Connection& connection, int64_t study, int64_t number);

/// Appends an entry to a run's journal. @return its number, the new length of the journal.
absl::StatusOr<int64_t> WriteEntry(Connection& connection, int64_t study, int64_t number, const v1::Adjustment& entry);

}  // namespace gyrebox::store
