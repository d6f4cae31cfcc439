/// Parts of transactions that several files of this room write.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "store/database.h"
#include "store/store.h"

namespace gyrebox::store {

/// What a state is for.
enum class StateKind { kCheckpoint = 1, kEnd = 2, kKept = 3 };

/// A state as the database knows it.
struct StateRow {
  BedBytes bed;  ///< without its bytes
  std::string file;
  int64_t length = 0;
  uint32_t checksum = 0;
  int64_t sample_count = 0;
  std::string faults_passed;  ///< see FaultBytes()
  std::string alarm;
};

/// The one of the highest step; none where there is no state of this kind.
absl::StatusOr<std::optional<StateRow>> SelectLastState(Connection& connection, int64_t study, int64_t number,
                                                        StateKind kind);

/// The one of the highest step up to this one, of any kind.
absl::StatusOr<std::optional<StateRow>> SelectStateBefore(Connection& connection, int64_t study, int64_t number,
                                                          int64_t at_most);

/// Inserts a study without its runs. @return its id.
absl::StatusOr<int64_t> InsertStudy(Connection& connection, const v1::StudySpec& spec, const std::string& owner);

/// A study as it is in this transaction. NOT_FOUND.
absl::StatusOr<v1::Study> SelectStudy(Connection& connection, int64_t id);

/// Notes what a person did to a study.
absl::Status NoteEdit(Connection& connection, int64_t study, const std::string& person, const std::string& what);

/// ABORTED that says what was done to a study since an etag, where a person did anything; none is looked at where it is
/// empty. @param whole looks at every change, also of its runs.
absl::Status CheckEtag(Connection& connection, int64_t id, const v1::Study& study, const std::string& etag,
                       bool whole = false);

/// Takes a study back that was put away, and drops the warning that it will be deleted: it goes on.
absl::Status TakeUp(Connection& connection, int64_t study);

/// Inserts a run. @param change of the study with which it comes. @param state kJoining where it is there for nobody
/// yet.
absl::Status InsertRun(Connection& connection, int64_t study, int64_t number, const NewRun& run, int priority,
                       int64_t change, int state = v1::Run::STATE_QUEUED);
/// State of a run that a study is to grow by, until it has joined.
inline constexpr int kJoining = 0;

/// Whether so many new runs are written in slices.
bool TakesSlices(size_t runs);

/// Runs a statement to its end. @return its rows.
absl::StatusOr<int64_t> CountRows(Statement& rows);

/// A study takes the state that it starts from as its own, if it starts from one. NOT_FOUND where that is not there.
/// @param states directory of states. @param like see Store::CreateStudy().
absl::Status TakeStart(Connection& connection, const std::string& states, int64_t study, const v1::StudySpec& spec,
                       int64_t like);

/// File of the state that a study starts from.
std::string StartFileOf(int64_t study);

/// The same for all studies of an older layout; those whose state has gone stay without.
absl::Status TakeOldStarts(Connection& connection, const std::string& states);

/// State of a row with the columns that all statements on states select.
StateRow ToStateRow(const Statement& row);

/// NOT_FOUND.
absl::Status NoStudy(int64_t id);

/// See Store::FindRequest().
absl::StatusOr<std::optional<Made>> SelectRequest(Connection& connection, const Request& request);

/// Notes what came of a request, if it has an id; adds to what it made before. ALREADY_EXISTS where that was something
/// else.
absl::Status WriteRequest(Connection& connection, const Request& request, const Made& made);

/// RESOURCE_EXHAUSTED where a person would have more runs that wait than the bounds allow.
absl::Status CheckRuns(Connection& connection, const Bounds& bounds, const std::string& person, int64_t more);

/// RESOURCE_EXHAUSTED where a person has more on the disk than the bounds allow, with all that this transaction has
/// written so far.
absl::Status CheckBytes(Connection& connection, const Bounds& bounds, const std::string& person);

/// RESOURCE_EXHAUSTED where so few bytes of the disk are free that studies and states to be kept have to wait.
absl::Status CheckReserve(const Bounds& bounds, int64_t free);

/// Counts a change of a study, and ends it where none of its runs is open.
absl::Status CountChange(Connection& connection, int64_t study);

/// Counts runs as bytes on the disk; all else is counted by the database itself.
absl::Status CountBytesOfRuns(Connection& connection, int64_t study, size_t runs);

/// Puts samples to the end of a series. @param packed see Pack().
absl::Status AppendSamples(Connection& connection, int64_t study, int64_t number, const SampleRows& samples,
                           const PackedSamples& packed);

/// Keeps frames of a run under way, but those that are kept already.
absl::Status AppendFrames(Connection& connection, int64_t study, int64_t number, const std::vector<Frame>& frames);

/// Drops the frames of a run from a step on.
absl::Status CutFrames(Connection& connection, int64_t study, int64_t number, int64_t from_step);

/// Faults as they are stored; empty where there are none.
std::string FaultBytes(const std::vector<v1::Fault>& faults);

/// Notes the states that come with an update, once their files are there. Adds the files that no state needs any more.
absl::Status NoteStates(Connection& connection, int64_t study, const RunUpdate& update,
                        std::vector<std::string>* unused);

/// Files of the states that come with an update, to be written before NoteStates(). Their bytes are those of the
/// update.
std::vector<WholeFile> FilesOf(int64_t study, const RunUpdate& update);

/// Puts a run back to its newest checkpoint, or to its start where it has none, and into the queue; what it measured
/// later goes.
absl::Status RollBack(Connection& connection, int64_t study, int64_t number);

/// Writes an entry into a run's journal. Returns its number, which follows from the journal.
absl::StatusOr<int64_t> WriteEntry(Connection& connection, int64_t study, int64_t number, const v1::Adjustment& entry);

}  // namespace gyrebox::store
