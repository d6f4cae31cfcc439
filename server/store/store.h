/// What must survive: studies, their runs and the runs' series and journals, in one SQLite database in the data
/// directory; and states of runs, each in a file that the database knows the length and checksum of.
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
#include "gyrebox/v1/people_service.pb.h"
#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "store/database.h"
#include "store/directory_lock.h"
#include "store/fair_mutex.h"
#include "store/frame.h"
#include "store/packed.h"
#include "store/state_file.h"
#include "study/expand.h"

namespace gyrebox::store {

/// Owner of studies, and author of changes, where no token tells.
inline constexpr char kLocalPerson[] = "local";

/// A run to insert.
struct NewRun {
  study::PlannedRun plan;
  int64_t bead_count = 0;
  int64_t total_steps = 0;
};

/// A call that is to be done once, however often it is made.
struct Request {
  Request(std::string id = "", std::string person = "", std::string method = "", std::string hash = "")
      : id(std::move(id)), person(std::move(person)), method(std::move(method)), hash(std::move(hash)) {}
  Request(const char* id) : Request(std::string(id)) {}

  std::string id;      ///< of the caller's choice, for this method; empty where the call may be done again
  std::string person;  ///< who calls
  std::string method;
  std::string hash;  ///< of what is asked for
};

/// What came of a call.
struct Made {
  /// A run, and what the call made of it.
  struct OfRun {
    int64_t run = 0;
    int64_t number = 0;  ///< of the entry in its journal, or the step of its state
  };
  int64_t study = 0;           ///< that it made or changed
  int64_t count = 0;           ///< runs that it changed
  std::vector<OfRun> of_runs;  ///< the first kMadeShown of them
};
constexpr size_t kMadeShown = 100;

/// What the store takes in; 0 for no bound.
struct Bounds {
  int64_t open_runs = 0;     ///< that wait or are held, of one person
  int64_t stored_bytes = 0;  ///< of one person
  int64_t reserve = 0;       ///< bytes of the disk that are kept free: studies and states that are to be kept wait
};

/// Numbers of a row before its values: step and time.
constexpr size_t kRowHead = 2;

/// Samples in a row: rows of `width` numbers, each of them step, time, values.
struct SampleRows {
  int64_t first = 0;  ///< sequence of the first row
  size_t width = 0;   ///< 0 where there are none
  std::vector<double> numbers;
  std::vector<Block> wide = {};  ///< quantities of several numbers, for samples that are to be stored

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

/// State of a run to go on from, and what it had come to there.
struct Checkpoint {
  BedBytes bed;
  int64_t sample_count = 0;
  int64_t last_sample_step = -1;  ///< -1 where there is none
};

/// What happened to a run since it was recorded last.
struct RunUpdate {
  int64_t number = 0;
  v1::Run::State state = v1::Run::STATE_RUNNING;  ///< QUEUED and PAUSED where it leaves the device
  int64_t step = 0;
  double time = 0;  ///< tau
  std::optional<v1::Fault> fault;
  std::vector<v1::Fault> faults_passed;  ///< all so far
  std::string alarm;                     ///< empty where none was raised so far
  std::optional<BedBytes> end_state;     ///< where it has just ended and leaves one
  std::optional<BedBytes> checkpoint;    ///< to go on from: the samples so far are those before its step
  std::optional<v1::Adjustment> entry;   ///< for its journal
  SampleRows samples;                    ///< new ones; `first` is not used, they go to the end of the series
  std::vector<Frame> frames;             ///< to keep; those of steps that are kept already are the same
};

/// What a person does to a run that is not on the device, or that the device is told of afterwards.
struct JournalWrite {
  int64_t number = 0;     ///< of the run
  v1::Adjustment entry;   ///< without its number
  v1::Run::State before;  ///< state of the run
};

/// A study whose runs wait.
struct WaitingStudy {
  int64_t study = 0;
  std::string owner;
  int priority = 0;  ///< highest of those runs
  int count = 0;
};

/// A study and those of its runs that are waiting.
struct QueuedRuns {
  int64_t study = 0;
  v1::StudySpec spec;
  std::vector<v1::Run> runs;
};

/// Time of the device that a person has used; see queue::Ledger.
struct PersonUse {
  double seconds = 0;
  int64_t as_of = 0;  ///< milliseconds since 1970
};

/// Place in the order in which the runs of a study changed.
struct ChangeCursor {
  int64_t change = 0;
  int64_t number = 0;
};

/// Runs that changed, in the order of their changes.
struct ChangedRuns {
  std::vector<v1::Run> runs;
  std::vector<ChangeCursor> cursors;  ///< of each run
};

/// Which studies a list is of.
struct StudyFilter {
  std::string owner, label;  ///< empty for any
  bool with_archived = false;
};

/// A study with all its runs, as they are at one moment.
struct WholeStudy {
  v1::Study study;
  std::vector<v1::Run> runs;   ///< by number
  std::set<int64_t> adjusted;  ///< numbers of those that a person changed while they ran
};

/// What a person says about a study; what is not given stays.
struct StudyWords {
  std::optional<std::string> note;
  std::optional<std::vector<std::string>> labels;
};

/// What a study grows by.
struct Growth {
  v1::StudySpec spec;                  ///< as it is to be
  std::vector<NewRun> runs;            ///< those that are new
  std::vector<double> old_run_values;  ///< values at new axes of the runs that are there
  std::string what;                    ///< in words
};

/// A study that may be deleted.
struct Deletable {
  int64_t study = 0;
  std::string owner;
  int64_t end_time = 0;       ///< milliseconds since 1970
  int64_t bytes = 0;          ///< on disk
  int64_t delete_time = 0;    ///< that people were told; 0 where they were told none
  double warned_seconds = 0;  ///< for how long the server has run since
};

/// All studies that may be deleted, in the order in which they ended.
struct DeletableStudies {
  std::vector<Deletable> studies;
  int64_t all_bytes = 0;     ///< of all studies there are
  int64_t warned_count = 0;  ///< studies that people were told of, also some that may not be deleted any more
};

/// Tells people that a study will be deleted.
struct Warning {
  int64_t study = 0;
  int64_t delete_time = 0;  ///< milliseconds since 1970
  std::string reason;
};

struct StateRow;

/// A token as it is kept.
struct StoredToken {
  v1::Token token;
  std::string hash;  ///< of its secret
};

/// Thread-safe. Every write is committed, and safe from a power cut, when its call returns. States of a study and of
/// its runs as read are those of one moment.
class Store {
 public:
  /// Opens or makes the database. Runs that an earlier process left under way are queued again, at their newest
  /// checkpoint. FAILED_PRECONDITION where another server uses the directory, it cannot be written to, or a newer
  /// version made it; DATA_LOSS where the database is damaged.
  static absl::StatusOr<std::unique_ptr<Store>> Open(const std::string& directory);

  // ---- room (room.cc)

  /// Bounds of what is taken in from now on; without it there are none. Before others use the store.
  void SetBounds(const Bounds& bounds) { bounds_ = bounds; }
  const Bounds& bounds() const { return bounds_; }
  /// Bytes on the disk of a person, with all that is written of runs under way.
  absl::StatusOr<int64_t> BytesOf(const std::string& owner);
  absl::StatusOr<std::map<std::string, int64_t>> StoredBytes();  ///< by owner
  /// Bytes of the disk that are free for the user of this server.
  int64_t FreeDisk() const;

  // ---- calls that are done once (requests.cc)

  /// What came of a call that was made before; none where it was not, or has no id. ALREADY_EXISTS where the same
  /// person asked for something else with this id.
  absl::StatusOr<std::optional<Made>> FindRequest(const Request& request);
  /// Entries of journals that a call made.
  absl::StatusOr<std::vector<v1::Adjustment>> GetEntries(const Made& made);
  /// Notes a call that made nothing that was not there: the state of a run at a step.
  absl::Status NoteRequest(const Request& request, int64_t study, const Made::OfRun& made);

  // ---- studies

  /// Takes a study in; of a request that was made before, returns the study made then. A study that starts from a state
  /// takes that as its own: NOT_FOUND where it has gone. RESOURCE_EXHAUSTED where it is over a bound.
  /// One of very many runs is written in slices, and is there for nobody until the last of them.
  /// @param like study whose own start is taken, for a spec that is that study's; 0 for the state that the spec names.
  absl::StatusOr<v1::Study> CreateStudy(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                        const Request& request, const std::string& owner = kLocalPerson,
                                        int priority = 0, int64_t like = 0);
  absl::StatusOr<v1::Study> GetStudy(int64_t id);
  /// Studies with an id below this one, newest first.
  absl::StatusOr<std::vector<v1::Study>> ListStudies(int64_t below_id, int limit, const StudyFilter& filter = {});
  absl::StatusOr<WholeStudy> GetWholeStudy(int64_t id);
  /// The runs of a study that audit its time step, by number.
  absl::StatusOr<std::vector<study::AuditedRun>> GetAuditedRuns(int64_t id);
  /// Marks the study so that what runs is cancelled, and then cancels what waits, in slices. FAILED_PRECONDITION where
  /// it has ended or is cancelled already.
  absl::Status CancelStudy(int64_t id);
  absl::StatusOr<bool> IsCancelled(int64_t id);
  /// Who submitted a study. NOT_FOUND.
  absl::StatusOr<std::string> GetOwner(int64_t id);

  // ---- what people do to studies (edits.cc, growth.cc). ABORTED, with what was done, where a person did something to
  // the study since an etag; none is looked at where it is empty. What changes nothing is not counted as done.

  absl::StatusOr<v1::Study> UpdateStudy(int64_t id, const StudyWords& words, const std::string& etag,
                                        const std::string& person);
  /// FAILED_PRECONDITION while runs are not at their end.
  absl::StatusOr<v1::Study> ArchiveStudy(int64_t id, bool archived, const std::string& person);
  /// @param exclusion none takes the run back in; FAILED_PRECONDITION where it is not left out.
  absl::StatusOr<v1::Run> ExcludeRun(int64_t study, int64_t number, const std::optional<v1::Exclusion>& exclusion,
                                     const std::string& person);
  /// Adds runs to a study; of a request that was made before, returns the study as it is. FAILED_PRECONDITION where it
  /// is cancelled, RESOURCE_EXHAUSTED where its owner is over a bound.
  absl::StatusOr<v1::Study> GrowStudy(int64_t id, const Growth& growth, const Request& request, const std::string& etag,
                                      const std::string& person);

  // ---- deleting (deletion.cc)

  /// From now on there is no such study; EraseSome() does the rest. FAILED_PRECONDITION while runs are not at their
  /// end. ABORTED where anything of it changed since the etag, if one is given.
  absl::Status DeleteStudy(int64_t id, const std::string& etag);
  /// The same for a study whose warning has stood for so long; FAILED_PRECONDITION where it has not.
  absl::Status DeleteDueStudy(int64_t id, double warned_seconds);
  /// Erases a little of what was deleted, in one short transaction. False where nothing is left to erase.
  absl::StatusOr<bool> EraseSome();

  // ---- how long studies are kept (keeping.cc)

  absl::StatusOr<DeletableStudies> ListDeletable();
  /// Sets the warnings that hold, and no others. Adds the time that the server has run to those that stood before.
  absl::Status SetWarnings(std::span<const Warning> warnings, double seconds_run);

  // ---- runs

  absl::StatusOr<v1::Run> GetRun(int64_t study, int64_t number);
  absl::StatusOr<std::vector<v1::Run>> ListRuns(int64_t study, int64_t above_number, int limit);
  /// Runs that are not at their end.
  absl::StatusOr<std::vector<v1::Run>> ListOpenRuns(int64_t study);
  absl::StatusOr<ChangedRuns> ListChangedRuns(int64_t study, ChangeCursor after, int limit);
  absl::StatusOr<int64_t> CountRuns(v1::Run::State state);
  /// Bead-steps still to take, by study; those without any are left out.
  absl::StatusOr<std::map<int64_t, double>> OpenWork();

  // ---- the queue

  absl::StatusOr<std::vector<WaitingStudy>> ListWaiting();
  /// Runs of a study that wait, in the order in which they are to start.
  absl::StatusOr<QueuedRuns> ListQueued(int64_t study, int limit);
  /// @param number of one run, or 0 for all. @return how many runs took it: those not at their end.
  absl::StatusOr<int> SetPriority(int64_t study, int64_t number, int priority);
  absl::StatusOr<std::map<std::string, PersonUse>> ReadUse();
  absl::Status WriteUse(const std::map<std::string, PersonUse>& use);

  // ---- what the executor does

  absl::Status StartRuns(int64_t study, std::span<const int64_t> numbers, const std::string& device);
  /// Puts started runs back in the queue, at their last checkpoints.
  absl::Status RequeueRuns(int64_t study, std::span<const int64_t> numbers);
  /// @param observables of each run, in the order of the numbers.
  absl::Status SetObservables(int64_t study, std::span<const int64_t> numbers,
                              std::span<const std::vector<v1::Observable>> observables);
  /// All or nothing. A run that would wait, and whose study was cancelled meanwhile, ends as CANCELLED.
  absl::Status RecordProgress(int64_t study, std::vector<RunUpdate> updates);

  // ---- states

  /// What a run left. FAILED_PRECONDITION where it left nothing, DATA_LOSS where that is damaged.
  absl::StatusOr<BedBytes> GetEndState(int64_t study, int64_t number);
  /// What a run left, or kept for studies to start from, at a step. NOT_FOUND, DATA_LOSS.
  absl::StatusOr<BedBytes> GetStateAt(int64_t study, int64_t number, int64_t step);
  /// The newest checkpoint of a run; none where it starts anew. DATA_LOSS where its file is damaged.
  absl::StatusOr<std::optional<Checkpoint>> GetCheckpoint(int64_t study, int64_t number);
  /// Gives the newest checkpoint of a waiting run up: it is back at the one before, or at its start.
  absl::Status DropCheckpoint(int64_t study, int64_t number);
  /// Keeps a state for studies to start from. RESOURCE_EXHAUSTED where the owner is over a bound.
  absl::StatusOr<v1::SavedState> KeepState(int64_t study, int64_t number, const BedBytes& state,
                                           const Request& request = {});
  /// Keeps the newest checkpoint in that way. FAILED_PRECONDITION where there is none.
  absl::StatusOr<v1::SavedState> KeepCheckpoint(int64_t study, int64_t number, const Request& request = {});
  /// A state that is kept, or that the run left. NOT_FOUND.
  absl::StatusOr<v1::SavedState> GetSavedState(int64_t study, const Made::OfRun& made);
  /// The state that a study starts from, its own copy. DATA_LOSS where it has none, or that is damaged.
  absl::StatusOr<BedBytes> GetStartState(int64_t study);
  absl::StatusOr<std::vector<v1::SavedState>> ListSavedStates(int64_t study, int64_t number);

  // ---- journals

  /// The journal of a run, oldest first. @param above number of the last entry that is not wanted.
  absl::StatusOr<std::vector<v1::Adjustment>> GetJournal(int64_t study, int64_t number, int64_t above = 0);
  /// Visits the journals of the runs from one number to another, in their order.
  absl::Status ReadJournals(int64_t study, int64_t first, int64_t last,
                            const std::function<void(int64_t number, const v1::Adjustment&)>& visit);
  /// Entries that were read since the store was opened: for tests.
  int64_t entries_read() const { return entries_read_; }
  /// The furthest step that a run ever came to; after a break it may be behind it.
  absl::StatusOr<int64_t> ReachedStep(int64_t study, int64_t number);
  /// Writes one entry a run, all or none, with what follows of it for the run: its state and its end.
  /// @param request that they are of; what it makes in several calls adds up. ALREADY_EXISTS where its id is that of
  ///        something else.
  absl::Status WriteJournal(int64_t study, std::span<const JournalWrite> writes, const Request& request = {});

  // ---- series

  /// Observables of a run; empty before it has started.
  absl::StatusOr<std::vector<v1::Observable>> GetObservables(int64_t study, int64_t number);
  /// Samples from a sequence on.
  absl::StatusOr<SampleRows> ReadSamples(int64_t study, int64_t number, int64_t from, int limit);
  /// Some columns of the segments from a time on, in tau: single numbers alone are read. A column that is part of a
  /// wider quantity is NaN.
  absl::StatusOr<SampleRows> ReadColumns(int64_t study, int64_t number, double time, std::span<const size_t> columns);

  // ---- frames (frames.cc)

  /// Frames kept of a run, from a step on.
  absl::StatusOr<std::vector<FrameStamp>> ListFrames(int64_t study, int64_t number, int64_t from_step, int limit);
  /// The frame kept at a step. NOT_FOUND, DATA_LOSS.
  absl::StatusOr<Frame> ReadKeptFrame(int64_t study, int64_t number, int64_t step);
  /// The newest that shows a run at a step or before it: a kept frame, or a state. None where there is none. DATA_LOSS.
  absl::StatusOr<std::optional<Frame>> ReadFrame(int64_t study, int64_t number, int64_t at_most);
  /// The step that ReadFrame() would show.
  absl::StatusOr<std::optional<int64_t>> FindFrame(int64_t study, int64_t number, int64_t at_most);

  // ---- tokens (tokens.cc)

  /// Keeps a new token. Returns it with its name.
  absl::StatusOr<v1::Token> AddToken(const v1::Token& token, const std::string& hash);
  /// All tokens, oldest first.
  absl::StatusOr<std::vector<StoredToken>> ListTokens();
  /// Revokes the token with this number, and all of this person; neither is one for 0 and "". Returns those that were
  /// not revoked before.
  absl::StatusOr<std::vector<v1::Token>> RevokeTokens(int64_t number, const std::string& person);

 private:
  using Work = std::function<absl::Status(Connection&)>;
  /// Does up to so many rows. @return how many; fewer at the end.
  using SlicedWork = std::function<absl::StatusOr<int64_t>(Connection&, int64_t most)>;
  using InsertOne = std::function<absl::Status(Connection&, size_t place)>;

  Store(std::unique_ptr<DirectoryLock> lock, std::unique_ptr<Connection> writer, const std::string& directory);
  absl::Status Migrate();
  absl::Status TakeUpCutOffRuns();
  /// Ends what the last process was writing in slices: what was accepted is done, all else erased.
  absl::Status EndCutOffSlices();
  /// Moves files of states that the database knows nothing of away.
  absl::Status SweepStates();
  /// Erases what was deleted when the last process ended.
  absl::Status EraseAll();
  void RemoveFiles(const std::vector<std::string>& files);
  /// A file of a state that could not be noted.
  void RemoveIfUnused(int64_t study, int64_t number, const std::string& file);
  absl::StatusOr<BedBytes> ReadState(const StateRow& row);
  /// Moves what was written from the log of the database into it, now and then, while others may write.
  void Settle(int64_t bytes);
  /// Runs work in one transaction on the only connection that writes.
  absl::Status Write(const Work& work);
  // Many rows (slices.cc). Each slice is a transaction of its own, others write in between.
  absl::Status WriteInSlices(const SlicedWork& work);
  absl::Status InsertInSlices(size_t count, const InsertOne& insert);
  absl::Status CancelWaiting(int64_t id);
  absl::StatusOr<v1::Study> CreateInSlices(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                           const Request& request, const std::string& owner, int priority,
                                           int64_t like);
  absl::StatusOr<v1::Study> GrowInSlices(int64_t id, const Growth& growth, const Request& request,
                                         const std::string& etag, const std::string& person);
  /// Lets runs join that a study grows by, once that is accepted; or erases them.
  absl::Status JoinRuns(int64_t id);
  absl::Status EraseJoining(int64_t id);
  /// Runs work in one snapshot on a connection of its own.
  absl::Status Read(const Work& work);

  std::unique_ptr<DirectoryLock> lock_;
  FairMutex write_mutex_;
  std::mutex growing_mutex_;  ///< of who makes a study grow in slices
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
  std::vector<std::unique_ptr<Connection>> readers_;  ///< idle ones; guarded by readers_mutex_
};

}  // namespace gyrebox::store
