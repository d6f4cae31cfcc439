/// Persistent data: one SQLite database in the data directory holds studies, their runs, and the runs' series and
/// journals. Each state of a run is a file, whose length and checksum are in the database.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "gyrebox/v1/observable.pb.h"
#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "gyrebox/v1/user_service.pb.h"
#include "store/database.h"
#include "store/directory_lock.h"
#include "store/fair_mutex.h"
#include "store/frame.h"
#include "store/packed.h"
#include "store/state_file.h"
#include "study/expand.h"

namespace gyrebox::store {

/// Owner of studies and author of edits made without a token.
inline constexpr char kLocalUser[] = "local";

/// A run to insert.
struct NewRun {
  study::PlannedRun plan;
  int64_t bead_count = 0;
  int64_t total_steps = 0;
};

/// Identifies a call that executes only once, even if it is repeated.
struct Request {
  Request(std::string id = "", std::string user = "", std::string method = "", std::string hash = "")
      : id(std::move(id)), user(std::move(user)), method(std::move(method)), hash(std::move(hash)) {}
  Request(const char* id) : Request(std::string(id)) {}

  std::string id;    ///< chosen by the caller, per method; empty if the call may be repeated
  std::string user;  ///< the caller
  std::string method;
  std::string hash;  ///< of the request
};

/// Result of a call.
struct Made {
  /// A run, and what the call added to it.
  struct OfRun {
    int64_t run = 0;
    int64_t number = 0;  ///< number of its journal entry, or step of its state
  };
  int64_t study = 0;           ///< the study created or changed
  int64_t count = 0;           ///< number of changed runs
  std::vector<OfRun> of_runs;  ///< the first kMadeShown of these runs
};
constexpr size_t kMadeShown = 100;

/// Limits of the store; 0 for no limit.
struct Bounds {
  int64_t open_runs = 0;     ///< waiting and held runs of one user
  int64_t stored_bytes = 0;  ///< of one user
  int64_t reserve = 0;       ///< bytes of disk space kept free; below it the store rejects studies and kept states
};

/// Numbers in a row before its values: step and time.
constexpr size_t kRowHead = 2;

/// Consecutive samples: rows of `width` numbers, each with step, time and values.
struct SampleRows {
  int64_t first = 0;  ///< sequence of the first row
  size_t width = 0;   ///< 0 if there are none
  std::vector<double> numbers;
  std::vector<Block> wide = {};  ///< quantities with several numbers; for samples to be stored

  size_t size() const { return width == 0 ? 0 : numbers.size() / width; }
  std::span<const double> row(size_t i) const { return {numbers.data() + i * width, width}; }
};

/// State of a run.
struct BedBytes {
  std::string bytes;              ///< see kernels::ToBytes()
  double side_x = 0, side_y = 0;  ///< sigma
  int64_t step = 0;
  double time = 0;  ///< tau
};

/// State from which a run resumes, and its progress there.
struct Checkpoint {
  BedBytes bed;
  int64_t sample_count = 0;
  int64_t last_sample_step = -1;  ///< -1 if there is none
};

/// Progress of a run since its last record.
struct RunUpdate {
  int64_t number = 0;
  v1::Run::State state = v1::Run::STATE_RUNNING;  ///< QUEUED or PAUSED if it leaves the device
  int64_t step = 0;
  double time = 0;  ///< tau
  std::optional<v1::Fault> fault;
  std::vector<v1::Fault> recovered_faults;  ///< all so far
  std::string warning;                      ///< empty if none was raised so far
  std::optional<BedBytes> end_state;        ///< if it has just ended and leaves one
  std::optional<BedBytes> checkpoint;       ///< to resume from; the samples so far precede its step
  std::optional<v1::Adjustment> entry;      ///< for its journal
  SampleRows samples;                       ///< new samples, appended to the series; `first` is unused
  std::vector<Frame> frames;                ///< to keep; a frame of an already stored step is identical to it
};

/// An adjustment to a run that is not on the device, or that the device applies afterwards.
struct JournalWrite {
  int64_t number = 0;     ///< of the run
  v1::Adjustment entry;   ///< without its number
  v1::Run::State before;  ///< state of the run before the entry
};

/// A study with waiting runs.
struct WaitingStudy {
  int64_t study = 0;
  std::string owner;
  int priority = 0;  ///< highest among these runs
  int count = 0;
};

/// A study and its waiting runs.
struct QueuedRuns {
  int64_t study = 0;
  v1::StudySpec spec;
  std::vector<v1::Run> runs;
};

/// Device time used by a user; see queue::Ledger.
struct UserUse {
  double seconds = 0;
  int64_t as_of = 0;  ///< milliseconds since 1970
};

/// Position in the list of the runs of a study, ordered by their changes.
struct ChangeCursor {
  int64_t change = 0;
  int64_t number = 0;
};

/// Changed runs, in the order of their changes.
struct ChangedRuns {
  std::vector<v1::Run> runs;
  std::vector<ChangeCursor> cursors;  ///< of each run
};

/// Filter of a list of studies.
struct StudyFilter {
  std::string owner, label;  ///< empty for any
  bool with_archived = false;
};

/// A study with all its runs, read in one transaction.
struct WholeStudy {
  v1::Study study;
  std::vector<v1::Run> runs;   ///< by number
  std::set<int64_t> adjusted;  ///< numbers of the runs with an adjustment of KIND_CHANGE
};

/// Annotations of a study; unset fields stay as they are.
struct StudyWords {
  std::optional<std::string> note;
  std::optional<std::vector<std::string>> labels;
};

/// Runs and axes added to a study.
struct Growth {
  v1::StudySpec spec;                  ///< the new spec
  std::vector<NewRun> runs;            ///< the new runs
  std::vector<double> old_run_values;  ///< values of the existing runs on the new axes
  std::string what;                    ///< description in words
};

/// A study that may be deleted by the retention rules.
struct Deletable {
  int64_t study = 0;
  std::string owner;
  int64_t end_time = 0;       ///< milliseconds since 1970
  int64_t bytes = 0;          ///< on disk
  int64_t delete_time = 0;    ///< announced to users, milliseconds since 1970; 0 if not announced
  double warned_seconds = 0;  ///< server uptime since the warning
};

/// All studies that may be deleted, in the order in which they ended.
struct DeletableStudies {
  std::vector<Deletable> studies;
  int64_t all_bytes = 0;     ///< of all studies, deletable or not
  int64_t warned_count = 0;  ///< studies with a warning, including any that are no longer deletable
};

/// Warning to users that a study will be deleted.
struct Warning {
  int64_t study = 0;
  int64_t delete_time = 0;  ///< milliseconds since 1970
  std::string reason;
};

struct StateRow;

/// A token as stored.
struct StoredToken {
  v1::Token token;
  std::string hash;  ///< of its secret
};

/// Thread-safe. Every write is committed and survives a power cut once its call returns. Each read sees a consistent
/// state of a study and its runs.
class Store {
 public:
  /// Opens or creates the database. Runs interrupted in an earlier process are queued again at their newest checkpoint.
  /// FAILED_PRECONDITION if another server uses the directory, it is not writable, it belongs to another store, or a
  /// newer version made it; DATA_LOSS if the database is damaged.
  static absl::StatusOr<std::unique_ptr<Store>> Open(const std::string& directory);

  // ---- disk space and limits (room.cc)

  /// Sets the limits; without this call there are none. Call it before other threads use the store.
  void SetBounds(const Bounds& bounds) { bounds_ = bounds; }
  const Bounds& bounds() const { return bounds_; }
  /// Bytes on disk of a user, including everything written so far for open runs.
  absl::StatusOr<int64_t> BytesOf(const std::string& owner);
  absl::StatusOr<std::map<std::string, int64_t>> StoredBytes();  ///< by owner
  /// Free disk space in bytes for the account that runs the server; the largest int64_t if unknown.
  int64_t FreeDisk() const;

  // ---- calls that execute only once (requests.cc)

  /// Result of an earlier call; none if there was no such call or the request has no id. ALREADY_EXISTS if the same
  /// user used this id for a different request.
  absl::StatusOr<std::optional<Made>> FindRequest(const Request& request);
  /// Journal entries that a call made.
  absl::StatusOr<std::vector<v1::Adjustment>> GetEntries(const Made& made);
  /// Records a call whose result, the state of a run at a step, already existed.
  absl::Status NoteRequest(const Request& request, int64_t study, const Made::OfRun& made);

  // ---- studies

  /// Creates a study; for a repeated request, returns the study created first. A study that starts from a state gets
  /// its own copy of it: NOT_FOUND if the state is gone. RESOURCE_EXHAUSTED if a limit is exceeded. A study with very
  /// many runs is written in slices and is invisible until the last slice.
  /// @param like study whose start state is copied, if the spec is from that study; 0 for the state named in the spec.
  absl::StatusOr<v1::Study> CreateStudy(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                        const Request& request, const std::string& owner = kLocalUser, int priority = 0,
                                        int64_t like = 0);
  absl::StatusOr<v1::Study> GetStudy(int64_t id);
  /// Studies with ids below `below_id`, newest first.
  absl::StatusOr<std::vector<v1::Study>> ListStudies(int64_t below_id, int limit, const StudyFilter& filter = {});
  absl::StatusOr<WholeStudy> GetWholeStudy(int64_t id);
  /// The time-step audit runs of a study, by number.
  absl::StatusOr<std::vector<study::AuditedRun>> GetAuditedRuns(int64_t id);
  /// Marks the study, so that the executor cancels its runs on the device, then cancels its waiting and paused runs in
  /// slices. FAILED_PRECONDITION if it has ended or is already cancelled.
  absl::Status CancelStudy(int64_t id);
  absl::StatusOr<bool> IsCancelled(int64_t id);
  /// The user who submitted a study. NOT_FOUND.
  absl::StatusOr<std::string> GetOwner(int64_t id);

  // ---- edits by users (edits.cc, growth.cc). ABORTED, with a list of the edits, if a user edited the study since the
  // etag; an empty etag skips the check. An edit that changes nothing is not counted.

  absl::StatusOr<v1::Study> UpdateStudy(int64_t id, const StudyWords& words, const std::string& etag,
                                        const std::string& user);
  /// FAILED_PRECONDITION while runs are open.
  absl::StatusOr<v1::Study> ArchiveStudy(int64_t id, bool archived, const std::string& user);
  /// @param exclusion none includes the run again; FAILED_PRECONDITION if it is not excluded.
  absl::StatusOr<v1::Run> ExcludeRun(int64_t study, int64_t number, const std::optional<v1::Exclusion>& exclusion,
                                     const std::string& user);
  /// Adds runs to a study; for a repeated request, returns the study as it is. FAILED_PRECONDITION if it is cancelled,
  /// RESOURCE_EXHAUSTED if its owner exceeds a limit.
  absl::StatusOr<v1::Study> GrowStudy(int64_t id, const Growth& growth, const Request& request, const std::string& etag,
                                      const std::string& user);

  // ---- deleting (deletion.cc)

  /// Marks a study as deleted, which hides it; EraseSome() removes its data. FAILED_PRECONDITION while runs are open.
  /// ABORTED if anything in the study changed since the etag, if one is given.
  absl::Status DeleteStudy(int64_t id, const std::string& etag);
  /// Does the same if the warning of the study has stood for this many seconds; FAILED_PRECONDITION if not.
  absl::Status DeleteDueStudy(int64_t id, double warned_seconds);
  /// Erases part of a deleted study in one short transaction. False if nothing is left to erase.
  absl::StatusOr<bool> EraseSome();

  // ---- retention (keeping.cc)

  absl::StatusOr<DeletableStudies> ListDeletable();
  /// Replaces the set of warnings. Adds `seconds_run` of server uptime to those that stood before.
  absl::Status SetWarnings(std::span<const Warning> warnings, double seconds_run);

  // ---- runs

  absl::StatusOr<v1::Run> GetRun(int64_t study, int64_t number);
  absl::StatusOr<std::vector<v1::Run>> ListRuns(int64_t study, int64_t above_number, int limit);
  /// Queued, starting, running and paused runs.
  absl::StatusOr<std::vector<v1::Run>> ListOpenRuns(int64_t study);
  absl::StatusOr<ChangedRuns> ListChangedRuns(int64_t study, ChangeCursor after, int limit);
  absl::StatusOr<int64_t> CountRuns(v1::Run::State state);
  /// Remaining bead-steps by study; omits studies without open runs.
  absl::StatusOr<std::map<int64_t, double>> OpenWork();

  // ---- the queue

  absl::StatusOr<std::vector<WaitingStudy>> ListWaiting();
  /// Waiting runs of a study, in starting order.
  absl::StatusOr<QueuedRuns> ListQueued(int64_t study, int limit);
  /// @param number of one run, or 0 for all. @return number of runs changed; only open runs change.
  absl::StatusOr<int> SetPriority(int64_t study, int64_t number, int priority);
  absl::StatusOr<std::map<std::string, UserUse>> ReadUse();
  absl::Status WriteUse(const std::map<std::string, UserUse>& use);

  // ---- progress of the executor

  /// Takes waiting runs for a device; each of them is taken once, whoever asks. @return numbers of those taken.
  absl::StatusOr<std::vector<int64_t>> StartRuns(int64_t study, std::span<const int64_t> numbers,
                                                 const std::string& device);
  /// Rolls started runs back to their newest checkpoints and queues them.
  absl::Status RequeueRuns(int64_t study, std::span<const int64_t> numbers);
  /// @param observables of each run, in the order of `numbers`.
  absl::Status SetObservables(int64_t study, std::span<const int64_t> numbers,
                              std::span<const std::vector<v1::Observable>> observables);
  /// Atomic. If the study has been cancelled meanwhile, runs updated to QUEUED or PAUSED end as CANCELLED.
  absl::Status RecordProgress(int64_t study, std::vector<RunUpdate> updates);

  // ---- states

  /// End state of a run. FAILED_PRECONDITION if it left none, DATA_LOSS if that is damaged.
  absl::StatusOr<BedBytes> GetEndState(int64_t study, int64_t number);
  /// End state or kept state of a run at a step. NOT_FOUND, DATA_LOSS.
  absl::StatusOr<BedBytes> GetStateAt(int64_t study, int64_t number, int64_t step);
  /// The newest checkpoint of a run; none if it starts from step 0. DATA_LOSS if its file is damaged.
  absl::StatusOr<std::optional<Checkpoint>> GetCheckpoint(int64_t study, int64_t number);
  /// Deletes the newest checkpoint of a waiting run and rolls the run back to the previous one, or to its start.
  absl::Status DropCheckpoint(int64_t study, int64_t number);
  /// Keeps a state for studies to start from. RESOURCE_EXHAUSTED if the owner exceeds a limit.
  absl::StatusOr<v1::SavedState> KeepState(int64_t study, int64_t number, const BedBytes& state,
                                           const Request& request = {});
  /// Keeps the newest checkpoint for studies to start from. FAILED_PRECONDITION if there is none.
  absl::StatusOr<v1::SavedState> KeepCheckpoint(int64_t study, int64_t number, const Request& request = {});
  /// Kept state or end state of a run. NOT_FOUND.
  absl::StatusOr<v1::SavedState> GetSavedState(int64_t study, const Made::OfRun& made);
  /// The study's own copy of its start state. DATA_LOSS if it is missing or damaged.
  absl::StatusOr<BedBytes> GetStartState(int64_t study);
  absl::StatusOr<std::vector<v1::SavedState>> ListSavedStates(int64_t study, int64_t number);

  // ---- journals

  /// The journal of a run, oldest first. @param above returns only entries with larger numbers.
  absl::StatusOr<std::vector<v1::Adjustment>> GetJournal(int64_t study, int64_t number, int64_t above = 0);
  /// Visits the journals of runs `first` to `last`, in order.
  absl::Status ReadJournals(int64_t study, int64_t first, int64_t last,
                            const std::function<void(int64_t number, const v1::Adjustment&)>& visit);
  /// Number of entries read since the store was opened; for tests.
  int64_t entries_read() const { return entries_read_; }
  /// The furthest step a run has ever reached; after an interruption the run may be behind it.
  absl::StatusOr<int64_t> ReachedStep(int64_t study, int64_t number);
  /// Atomically writes one entry per run and its consequences: the state and the end of the run.
  /// @param request that the entries belong to; results of several calls add up. ALREADY_EXISTS if its id belongs to a
  ///        different request.
  absl::Status WriteJournal(int64_t study, std::span<const JournalWrite> writes, const Request& request = {});

  // ---- series

  /// Observables of a run; empty before it has started.
  absl::StatusOr<std::vector<v1::Observable>> GetObservables(int64_t study, int64_t number);
  /// Up to `limit` samples, starting at sequence number `from`.
  absl::StatusOr<SampleRows> ReadSamples(int64_t study, int64_t number, int64_t from, int limit);
  /// The given columns of the segments that end at or after `time`, in tau. Reads single numbers only: columns of a
  /// wide quantity are NaN.
  absl::StatusOr<SampleRows> ReadColumns(int64_t study, int64_t number, double time, std::span<const size_t> columns);

  // ---- frames (frames.cc)

  /// Kept frames of a run, from a step on.
  absl::StatusOr<std::vector<FrameStamp>> ListFrames(int64_t study, int64_t number, int64_t from_step, int limit);
  /// The frame kept at a step. NOT_FOUND, DATA_LOSS.
  absl::StatusOr<Frame> ReadKeptFrame(int64_t study, int64_t number, int64_t step);
  /// The newest frame at or before a step, from a kept frame or a state. None if there is none. DATA_LOSS.
  absl::StatusOr<std::optional<Frame>> ReadFrame(int64_t study, int64_t number, int64_t at_most);
  /// The step of the frame that ReadFrame() would return.
  absl::StatusOr<std::optional<int64_t>> FindFrame(int64_t study, int64_t number, int64_t at_most);

  // ---- tokens (tokens.cc)

  /// Stores a new token. @return the token with its name.
  absl::StatusOr<v1::Token> AddToken(const v1::Token& token, const std::string& hash);
  /// All tokens, oldest first.
  absl::StatusOr<std::vector<StoredToken>> ListTokens();
  /// Revokes the token with this number and all tokens of this user; 0 and "" match none. @return the tokens that were
  /// not yet revoked.
  absl::StatusOr<std::vector<v1::Token>> RevokeTokens(int64_t number, const std::string& user);

 private:
  using Work = std::function<absl::Status(Connection&)>;
  /// Writes up to `most` rows. @return number of rows written; fewer at the end.
  using SlicedWork = std::function<absl::StatusOr<int64_t>(Connection&, int64_t most)>;
  using InsertOne = std::function<absl::Status(Connection&, size_t index)>;

  Store(std::unique_ptr<DirectoryLock> lock, std::unique_ptr<Connection> writer, const std::string& directory);
  absl::Status Migrate();
  absl::Status RecoverInterruptedRuns();
  /// Resolves writes in slices that the last process left unfinished: completes accepted ones and erases the others.
  absl::Status EndCutOffSlices();
  /// Moves state files that are not in the database to the directory `lost`.
  absl::Status SweepStates();
  /// Erases all studies marked as deleted.
  absl::Status EraseAll();
  void RemoveFiles(const std::vector<std::string>& files);
  /// Removes the file of a state that could not be recorded, unless another state uses it.
  void RemoveIfUnused(int64_t study, int64_t number, const std::string& file);
  absl::StatusOr<BedBytes> ReadState(const StateRow& row);
  /// Checkpoints the write-ahead log after every few MiB of samples, without blocking writers.
  void Settle(int64_t bytes);
  /// Runs work in one transaction on the writing connection.
  absl::Status Write(const Work& work);
  // Many rows (slices.cc). Each slice is its own transaction, so other writers may come in between.
  absl::Status WriteInSlices(const SlicedWork& work);
  absl::Status InsertInSlices(size_t count, const InsertOne& insert);
  absl::Status CancelWaiting(int64_t id);
  absl::StatusOr<v1::Study> CreateInSlices(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                           const Request& request, const std::string& owner, int priority,
                                           int64_t like);
  absl::StatusOr<v1::Study> GrowInSlices(int64_t id, const Growth& growth, const Request& request,
                                         const std::string& etag, const std::string& user);
  /// Makes the new runs of an accepted growth visible.
  absl::Status JoinRuns(int64_t id);
  /// Erases the new runs of a growth that was not accepted.
  absl::Status EraseJoining(int64_t id);
  /// Runs work in one read transaction on its own connection.
  absl::Status Read(const Work& work);

  std::unique_ptr<DirectoryLock> lock_;
  FairMutex write_mutex_;
  std::mutex growing_mutex_;  ///< serialises growth in slices
  std::atomic<int64_t> entries_read_ = 0;
  std::unique_ptr<Connection> writer_;  ///< guarded by write_mutex_
  const std::string directory_;
  const std::string path_;
  const std::string states_;  ///< directory of states
  Bounds bounds_;
  std::mutex settle_mutex_;
  std::unique_ptr<Connection> settler_;  ///< guarded by settle_mutex_
  int64_t unsettled_ = 0;                ///< bytes of samples; guarded by settle_mutex_
  std::mutex readers_mutex_;
  std::vector<std::unique_ptr<Connection>> readers_;  ///< idle connections; guarded by readers_mutex_
};

}  // namespace gyrebox::store
