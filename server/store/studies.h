/// Studies: creating, reading, cancelling, and edits by users.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "store/connections.h"
#include "store/requests.h"
#include "store/space.h"
#include "store/state_directory.h"
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

/// Filter of a list of studies.
struct StudyFilter {
  std::string owner, label;  ///< empty for any
  bool with_archived = false;
};

/// A study with all its runs, read in one transaction.
struct WholeStudy {
  v1::Study study;
  std::vector<v1::Run> runs;            ///< by number
  std::map<int64_t, int64_t> adjusted;  ///< first step of an adjustment of KIND_CHANGE, by number of the run
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

class Studies {
 public:
  Studies(Connections& connections, const StateDirectory& files, const Space& space)
      : connections_(connections), files_(files), space_(space) {}

  /// Creates a study; for a repeated request, returns the study created first. A study that starts from a state gets
  /// its own copy of it: NOT_FOUND if the state is gone. RESOURCE_EXHAUSTED if a limit is exceeded. A study with very
  /// many runs is written in slices and is invisible until the last slice.
  /// @param like study whose start state is copied, if the spec is from that study; 0 for the state named in the spec.
  absl::StatusOr<v1::Study> Create(const v1::StudySpec& spec, const std::vector<NewRun>& runs, const Request& request,
                                   const std::string& owner = kLocalUser, int priority = 0, int64_t like = 0);
  absl::StatusOr<v1::Study> Get(int64_t id);
  /// Studies with ids below `below_id`, newest first.
  absl::StatusOr<std::vector<v1::Study>> List(int64_t below_id, int limit, const StudyFilter& filter = {});
  absl::StatusOr<WholeStudy> GetWhole(int64_t id);
  /// The user who submitted a study. NOT_FOUND.
  absl::StatusOr<std::string> GetOwner(int64_t id);
  /// Marks the study, so that the executor cancels its runs on the device, then cancels its waiting and paused runs in
  /// slices. FAILED_PRECONDITION if it has ended or is already cancelled.
  absl::Status Cancel(int64_t id);
  absl::StatusOr<bool> IsCancelled(int64_t id);

  // ---- edits by users (edits.cc, growth.cc). ABORTED, with a list of the edits, if a user edited the study since the
  // etag; an empty etag skips the check. An edit that changes nothing is not counted.

  absl::StatusOr<v1::Study> Update(int64_t id, const StudyWords& words, const std::string& etag,
                                   const std::string& user);
  /// FAILED_PRECONDITION while runs are open.
  absl::StatusOr<v1::Study> Archive(int64_t id, bool archived, const std::string& user);
  /// Adds runs to a study; for a repeated request, returns the study as it is. FAILED_PRECONDITION if it is cancelled,
  /// RESOURCE_EXHAUSTED if its owner exceeds a limit.
  absl::StatusOr<v1::Study> Grow(int64_t id, const Growth& growth, const Request& request, const std::string& etag,
                                 const std::string& user);

  /// Takes the last growth back. FAILED_PRECONDITION if one of its runs has started or was changed, or if there is
  /// none. (undo_growth.cc)
  absl::StatusOr<v1::Study> UndoGrowth(int64_t id, const std::string& etag, const std::string& user);
  /// Gives a study to another user. RESOURCE_EXHAUSTED if that user exceeds a limit with it.
  absl::StatusOr<v1::Study> Give(int64_t id, const std::string& owner, const std::string& etag,
                                 const std::string& user);
  /// The newest study with the same spec apart from its title; none if there is none.
  absl::StatusOr<std::optional<v1::Study>> FindEqual(const v1::StudySpec& spec);

  /// Resolves writes in slices that the last process left unfinished: completes accepted ones and erases the others.
  /// For the opening of the store.
  absl::Status EndInterruptedSlices();

 private:
  absl::Status CancelWaiting(int64_t id);
  absl::StatusOr<v1::Study> CreateInSlices(const v1::StudySpec& spec, const std::vector<NewRun>& runs,
                                           const Request& request, const std::string& owner, int priority,
                                           int64_t like);
  absl::StatusOr<v1::Study> GrowInSlices(int64_t id, const Growth& growth, const Request& request,
                                         const std::string& etag, const std::string& user);
  /// Makes the new runs of an accepted growth visible.
  absl::Status JoinRuns(int64_t id);
  /// Erases the runs of a growth that was not accepted, or that was taken back.
  absl::Status EraseHidden(int64_t id);

  Connections& connections_;
  const StateDirectory& files_;
  const Space& space_;
  std::mutex growing_mutex_;  ///< serialises growth in slices
};

// ---- inside a transaction

/// NOT_FOUND for this study.
absl::Status NoStudy(int64_t id);

/// Inserts a study without its runs. @return its id.
absl::StatusOr<int64_t> InsertStudy(Connection& connection, const v1::StudySpec& spec, const std::string& owner);

/// Replaces the spec of a study.
absl::Status SetSpec(Connection& connection, int64_t id, const v1::StudySpec& spec);

/// FAILED_PRECONDITION for a cancelled study.
absl::Status CancelledCannotGrow(const std::string& name);

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

/// Counts a change of a study, and ends the study if none of its runs is open.
absl::Status CountChange(Connection& connection, int64_t study);

/// Inserts a run. @param change change count of the study. @param state kJoining if the run is not visible yet.
absl::Status InsertRun(Connection& connection, int64_t study, int64_t number, const NewRun& run, int priority,
                       int64_t change, int state = v1::Run::STATE_QUEUED);
/// State of a new run of a growing study until it joins the study.
inline constexpr int kJoining = 0;

}  // namespace gyrebox::store
