/// SQL statements of the store. Run states (v1::Run::State): 1 queued, 2 starting, 3 running, 4 paused, 5 finished,
/// 6 unstable, 7 failed, 8 cancelled; 0 is a run that is joining its study.
#pragma once

namespace gyrebox::store::sql {

/// Change count of a run's study after this transaction.
#define GYREBOX_NEXT_CHANGE "(SELECT change + 1 FROM study WHERE id = run.study)"

// ---- opening

/// Runs interrupted in an earlier process: they resume from their checkpoints, or end if their study was cancelled.
inline constexpr char kSelectCutOffRuns[] = R"sql(
SELECT run.study, number, cancelled FROM run JOIN study ON study.id = run.study WHERE state IN (2, 3))sql";
inline constexpr char kCancelCutOffRun[] =
    "UPDATE run SET state = 8, end_time = ?3, change = " GYREBOX_NEXT_CHANGE " WHERE study = ?1 AND number = ?2";
inline constexpr char kDropCheckpointsOfTheEnded[] = R"sql(
DELETE FROM state WHERE kind = 1 AND
  (SELECT run.state FROM run WHERE run.study = state.study AND number = state.run) >= 5 RETURNING study, run, file)sql";
inline constexpr char kSelectAllFiles[] = "SELECT file FROM state UNION SELECT file FROM start_state";
/// With length, checksum, and whether the file is only a checkpoint.
inline constexpr char kSelectKnownFiles[] = R"sql(
SELECT file, length, checksum, MIN(kind = 1) FROM state GROUP BY file
UNION ALL SELECT file, length, checksum, 0 FROM start_state)sql";
inline constexpr char kSetCopyTime[] = "UPDATE identity SET copy_time = ?";
inline constexpr char kSelectIdentity[] = "SELECT id, copy_time FROM identity";
inline constexpr char kHasTable[] = "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?";
inline constexpr char kCountTables[] = "SELECT COUNT(*) FROM sqlite_schema";

// ---- calls that execute only once (requests.cc)

inline constexpr char kFindRequest[] = R"sql(
SELECT hash, study, count, of_runs FROM request WHERE user = ? AND method = ? AND id = ?)sql";
/// Adds to the result of a call recorded in parts. || turns blobs into text with the same bytes, hence the CAST.
inline constexpr char kWriteRequest[] = R"sql(
INSERT INTO request (user, method, id, hash, create_time, study, count, of_runs) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET count = count + excluded.count, of_runs = CAST(of_runs || excluded.of_runs AS BLOB))sql";
inline constexpr char kDropRequests[] = "DELETE FROM request WHERE study = ?";
inline constexpr char kSelectEntry[] = "SELECT entry FROM journal WHERE study = ? AND run = ? AND number = ?";

// ---- studies

inline constexpr char kInsertStudy[] = R"sql(
INSERT INTO study (spec, create_time, owner) VALUES (?, ?, ?) RETURNING id)sql";
inline constexpr char kSelectStudy[] = R"sql(
SELECT id, spec, create_time, start_time, end_time, cancelled, change, owner, note, archived, delete_time, delete_reason,
  (SELECT COALESCE(MAX(number), 0) FROM edit WHERE study = id),
  (SELECT COUNT(*) FROM run INDEXED BY run_excluded WHERE run.study = id AND exclusion IS NOT NULL), stored_bytes
FROM study WHERE id = ? AND deleted = 0)sql";
inline constexpr char kSelectLabels[] = "SELECT label FROM label WHERE study = ? ORDER BY label";
inline constexpr char kSelectOwner[] = "SELECT owner FROM study WHERE id = ? AND deleted = 0";
/// @param 2 owner, 3 label: empty for any. @param 4 whether to include archived studies.
inline constexpr char kSelectStudyIds[] = R"sql(
SELECT id FROM study
WHERE id < ?1 AND deleted = 0 AND (?2 = '' OR owner = ?2) AND (?4 OR archived = 0)
  AND (?3 = '' OR EXISTS (SELECT 1 FROM label WHERE label = ?3 AND study = id))
ORDER BY id DESC LIMIT ?5)sql";
inline constexpr char kCountRuns[] = R"sql(
SELECT state, count, done, total FROM run_count WHERE study = ? AND state > 0 AND count > 0 ORDER BY state)sql";
inline constexpr char kCountAllRuns[] = "SELECT COALESCE(SUM(count), 0) FROM run_count WHERE state = ?";
inline constexpr char kOpenWork[] = R"sql(
SELECT study, SUM(total - done) FROM run_count WHERE state BETWEEN 1 AND 4 AND count > 0 GROUP BY study ORDER BY study)sql";
inline constexpr char kIsCancelled[] = "SELECT cancelled FROM study WHERE id = ?";
inline constexpr char kCancelStudy[] = R"sql(
UPDATE study SET cancelled = 1 WHERE id = ? AND cancelled = 0 AND end_time IS NULL)sql";
inline constexpr char kCancelWaitingRuns[] = R"sql(
UPDATE run SET state = 8, end_time = ?2, change = (SELECT change + 1 FROM study WHERE id = ?1)
WHERE study = ?1 AND number IN (
  SELECT number FROM run WHERE study = ?1 AND number > ?3 AND state IN (1, 4) ORDER BY number LIMIT ?4)
RETURNING number)sql";
/// Counts a change of a study. If none of its runs is open, sets its end unless it is set; otherwise clears it.
inline constexpr char kCountChange[] = R"sql(
WITH at_end AS (SELECT NOT EXISTS (SELECT 1 FROM run_count WHERE study = ?1 AND state BETWEEN 1 AND 4 AND count > 0) AS yes)
UPDATE study SET change = change + 1,
  end_time = CASE WHEN yes THEN COALESCE(end_time, ?2) END,
  ended = CASE WHEN yes THEN COALESCE(ended, (SELECT COALESCE(MAX(ended), 0) + 1 FROM study)) END
FROM at_end WHERE id = ?1)sql";
inline constexpr char kAddStoredBytes[] = "UPDATE study SET stored_bytes = stored_bytes + ?2 WHERE id = ?1";

// ---- users and the queue

inline constexpr char kSelectWaiting[] = R"sql(
SELECT id, owner,
  (SELECT priority FROM run WHERE run.study = id AND run.state = 1 ORDER BY priority DESC LIMIT 1), count
FROM run_count JOIN study ON id = run_count.study
WHERE run_count.state = 1 AND count > 0 AND deleted = 0 AND cancelled = 0)sql";
/// Waiting and held runs of one user.
inline constexpr char kCountOpenRuns[] = R"sql(
SELECT COALESCE(SUM(count), 0) FROM run_count JOIN study ON id = run_count.study
WHERE run_count.state IN (1, 4) AND owner = ?)sql";
inline constexpr char kSelectStoredBytes[] = "SELECT owner, bytes FROM owner_bytes WHERE bytes > 0";
inline constexpr char kSelectBytesOf[] = "SELECT bytes FROM owner_bytes WHERE owner = ?";
inline constexpr char kSelectUsers[] = "SELECT name, used_seconds, as_of FROM user";
inline constexpr char kWriteUser[] = "INSERT OR REPLACE INTO user (name, used_seconds, as_of) VALUES (?, ?, ?)";
/// @param 2 number of a run; 0 for all runs of the study. @param 4 skips runs up to this number. @param 5 max rows.
inline constexpr char kSetPriority[] =
    "UPDATE run SET priority = ?3, change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number IN (SELECT number FROM run WHERE study = ?1 AND number > ?4 AND "
    "(?2 = 0 OR number = ?2) AND state BETWEEN 1 AND 4 ORDER BY number LIMIT ?5) RETURNING number";

// ---- runs

inline constexpr char kInsertRun[] = R"sql(
INSERT INTO run (study, number, axis_values, trial, seed_positions, seed_noise, seed_disorder, bead_count, total_steps,
  priority, change, state, audit)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?))sql";
#define GYREBOX_RUN_COLUMNS                                                                                      \
  "SELECT run.study, number, axis_values, trial, seed_positions, seed_noise, seed_disorder, state, step, "       \
  "total_steps, "                                                                                                \
  "time, sample_count, fault, device, start_time, end_time, change, recovered_faults, warning, journal_length, " \
  "ended_early, priority, exclusion, pause_reason, audit FROM run "
inline constexpr char kSelectRun[] = GYREBOX_RUN_COLUMNS
    "WHERE study = ?1 AND number = ?2 AND state > 0 AND EXISTS (SELECT 1 FROM study WHERE id = ?1 AND deleted = 0)";
inline constexpr char kSelectAllRuns[] = GYREBOX_RUN_COLUMNS "WHERE study = ? AND state > 0 ORDER BY number";
inline constexpr char kSelectRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND number > ? AND state > 0 ORDER BY number LIMIT ?";
inline constexpr char kSelectOpenRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND state BETWEEN 1 AND 4 ORDER BY number";
inline constexpr char kSelectChangedRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND (change, number) > (?, ?) AND state > 0 ORDER BY change, number LIMIT ?";
inline constexpr char kSelectQueuedRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE state = 1 AND study = ? ORDER BY priority DESC, number LIMIT ?";
#undef GYREBOX_RUN_COLUMNS
inline constexpr char kSelectAuditedRuns[] =
    "SELECT axis_values, trial FROM run WHERE study = ? AND audit = 1 AND state > 0 ORDER BY number";
inline constexpr char kStartRun[] =
    "UPDATE run SET state = 2, start_time = COALESCE(start_time, ?3), device = ?4, change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number = ?2 AND state = 1 RETURNING number";
inline constexpr char kStartStudy[] = "UPDATE study SET start_time = ?2 WHERE id = ?1 AND start_time IS NULL";
inline constexpr char kSetObservables[] = R"sql(
UPDATE run SET observables = ?3 WHERE study = ?1 AND number = ?2)sql";
inline constexpr char kInsertObservables[] = "INSERT INTO observable_list (list) VALUES (?) RETURNING id";
inline constexpr char kSelectObservables[] = R"sql(
SELECT list FROM observable_list WHERE id = (SELECT observables FROM run WHERE study = ? AND number = ?))sql";
inline constexpr char kUpdateRun[] =
    "UPDATE run SET state = ?3, step = ?4, time = ?5, sample_count = sample_count + ?6, fault = ?7, end_time = ?8, "
    "recovered_faults = ?9, warning = ?10, pause_reason = NULLIF(?11, ''), change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number = ?2 AND state IN (2, 3)";

// ---- states

/// @param 11 number of new samples recorded with the state.
inline constexpr char kInsertState[] = R"sql(
INSERT OR REPLACE INTO state (study, run, kind, step, time, file, length, checksum, side_x, side_y, sample_count,
  recovered_faults, warning)
SELECT study, number, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, sample_count + ?11, ?12, ?13 FROM run
WHERE study = ?1 AND number = ?2 AND (state IN (2, 3) OR ?3 = 3))sql";
/// Deletes all checkpoints of a run except the newest ?3.
inline constexpr char kDropOldCheckpoints[] = R"sql(
DELETE FROM state WHERE study = ?1 AND run = ?2 AND kind = 1 AND step NOT IN
  (SELECT step FROM state WHERE study = ?1 AND run = ?2 AND kind = 1 ORDER BY step DESC LIMIT ?3)
RETURNING file)sql";
inline constexpr char kDropCheckpoint[] = R"sql(
DELETE FROM state WHERE study = ?1 AND run = ?2 AND kind = 1 AND step = ?3 RETURNING file)sql";
inline constexpr char kFileIsUsed[] = "SELECT 1 FROM state WHERE study = ?1 AND run = ?2 AND file = ?3";
#define GYREBOX_STATE_COLUMNS \
  "SELECT step, time, file, length, checksum, side_x, side_y, sample_count, recovered_faults, warning FROM state "
inline constexpr char kSelectLastState[] =
    GYREBOX_STATE_COLUMNS "WHERE study = ? AND run = ? AND kind = ? ORDER BY step DESC LIMIT 1";
/// Among the states that a study may start from.
inline constexpr char kSelectStateAt[] =
    GYREBOX_STATE_COLUMNS "WHERE study = ? AND run = ? AND kind IN (2, 3) AND step = ? LIMIT 1";
inline constexpr char kSelectSavedStates[] =
    GYREBOX_STATE_COLUMNS "WHERE study = ? AND run = ? AND kind = 3 ORDER BY step";
inline constexpr char kSelectStateBefore[] =
    GYREBOX_STATE_COLUMNS "WHERE study = ? AND run = ? AND step <= ? ORDER BY step DESC LIMIT 1";
#undef GYREBOX_STATE_COLUMNS
/// Start state of a study, with the columns of the other states.
inline constexpr char kSelectStartState[] = R"sql(
SELECT step, time, file, length, checksum, side_x, side_y, 0, NULL, NULL FROM start_state WHERE study = ?)sql";
inline constexpr char kInsertStartState[] = R"sql(
INSERT INTO start_state (study, step, time, file, length, checksum, side_x, side_y)
VALUES (?, ?, ?, ?, ?, ?, ?, ?))sql";
inline constexpr char kSelectSpecs[] = "SELECT id, spec FROM study WHERE deleted = 0";
/// Keeps the last state of a kind for studies to start from.
inline constexpr char kKeepState[] = R"sql(
INSERT OR REPLACE INTO state (study, run, kind, step, time, file, length, checksum, side_x, side_y)
SELECT study, run, 3, step, time, file, length, checksum, side_x, side_y FROM state
WHERE study = ?1 AND run = ?2 AND kind = ?3 ORDER BY step DESC LIMIT 1)sql";

/// Rolls back to a checkpoint, or to the start with step 0 and no samples. @param 8 current time, the end of the run if
/// the study was cancelled.
#define GYREBOX_IS_CANCELLED "(SELECT cancelled FROM study WHERE id = ?1)"
inline constexpr char kRollBackRun[] =
    "UPDATE run SET state = CASE WHEN " GYREBOX_IS_CANCELLED
    " THEN 8 ELSE 1 END, "
    "end_time = CASE WHEN " GYREBOX_IS_CANCELLED
    " THEN ?8 END, reached_step = MAX(reached_step, step), "
    "step = ?3, time = ?4, sample_count = ?5, recovered_faults = ?6, warning = ?7, device = NULL, "
    "observables = CASE WHEN ?5 > 0 THEN observables END, start_time = CASE WHEN ?5 > 0 THEN start_time END, "
    "change = " GYREBOX_NEXT_CHANGE " WHERE study = ?1 AND number = ?2";
#undef GYREBOX_IS_CANCELLED
inline constexpr char kSelectReachedStep[] = "SELECT MAX(reached_step, step) FROM run WHERE study = ? AND number = ?";
inline constexpr char kCutSamples[] = R"sql(
DELETE FROM segment WHERE study = ? AND run = ? AND first >= ?)sql";

// ---- journals

inline constexpr char kInsertEntry[] = R"sql(
INSERT INTO journal (study, run, number, entry)
SELECT study, number, journal_length + 1, ?3 FROM run WHERE study = ?1 AND number = ?2)sql";
inline constexpr char kCountEntry[] =
    "UPDATE run SET journal_length = journal_length + 1, change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number = ?2 RETURNING journal_length";
inline constexpr char kSelectJournal[] = R"sql(
SELECT number, entry FROM journal WHERE study = ? AND run = ? AND number > ? ORDER BY number)sql";
inline constexpr char kSelectJournalsOf[] = R"sql(
SELECT run, entry FROM journal WHERE study = ? AND run BETWEEN ? AND ? ORDER BY run, number)sql";
inline constexpr char kSelectJournals[] = "SELECT run, entry FROM journal WHERE study = ?";
/// Moves a run from state ?3 to state ?4, if it is in the former.
inline constexpr char kMoveRun[] =
    "UPDATE run SET state = ?4, pause_reason = NULLIF(?5, ''), change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number = ?2 AND state = ?3";
inline constexpr char kSetEnd[] = R"sql(
UPDATE run SET total_steps = ?3, ended_early = ?4 WHERE study = ?1 AND number = ?2)sql";
/// Reopens a finished run; its end state becomes a checkpoint.
inline constexpr char kReopenRun[] = "UPDATE run SET state = 1, end_time = NULL, change = " GYREBOX_NEXT_CHANGE
                                     " WHERE study = ?1 AND number = ?2 AND state = 5";
inline constexpr char kReopenState[] = R"sql(
UPDATE state SET kind = 1, sample_count = run.sample_count, recovered_faults = run.recovered_faults, warning = run.warning
FROM run WHERE state.study = ?1 AND state.run = ?2 AND kind = 2 AND run.study = ?1 AND run.number = ?2)sql";

// ---- edits by users (edits.cc, growth.cc)

inline constexpr char kInsertEdit[] = R"sql(
INSERT INTO edit (study, number, user, create_time, what)
SELECT ?1, COALESCE(MAX(number), 0) + 1, ?2, ?3, ?4 FROM edit WHERE study = ?1)sql";
inline constexpr char kSelectEdits[] = "SELECT number, user, what FROM edit WHERE study = ? ORDER BY number";
inline constexpr char kSetNote[] = "UPDATE study SET note = ?2 WHERE id = ?1";
inline constexpr char kDropLabels[] = "DELETE FROM label WHERE study = ?";
inline constexpr char kInsertLabel[] = "INSERT INTO label (study, label) VALUES (?, ?)";
/// Archives or unarchives a study. Either clears its deletion warning, so that deletion needs a new one.
inline constexpr char kSetArchived[] = R"sql(
UPDATE study SET archived = ?2, delete_time = NULL, delete_reason = NULL, warned_seconds = 0 WHERE id = ?1)sql";
inline constexpr char kSetExclusion[] =
    "UPDATE run SET exclusion = ?3, change = " GYREBOX_NEXT_CHANGE " WHERE study = ?1 AND number = ?2";

inline constexpr char kSetSpec[] = "UPDATE study SET spec = ?2 WHERE id = ?1";
/// Appends the values on new axes to the existing runs. || turns blobs into text with the same bytes, hence the CAST.
inline constexpr char kAppendAxisValues[] =
    "UPDATE run SET axis_values = CAST(axis_values || ?2 AS BLOB), change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND state > 0";
/// For the first run added to a study: its number, its change count, and the priority of the last run of the study.
inline constexpr char kSelectNextRun[] = R"sql(
SELECT number + 1, study.change + 1, priority FROM run JOIN study ON study.id = run.study
WHERE study = ? ORDER BY number DESC LIMIT 1)sql";

// ---- writes in slices (slices.cc)

inline constexpr char kBeginMaking[] = "UPDATE study SET deleted = 2 WHERE id = ?";
inline constexpr char kEndMaking[] = "UPDATE study SET deleted = 0 WHERE id = ?1 AND deleted = 2";
inline constexpr char kGiveUpMaking[] =
    "UPDATE study SET deleted = 1, stored_bytes = 0 WHERE deleted = 2 AND (?1 = 0 OR id = ?1)";
inline constexpr char kSetJoining[] = "UPDATE study SET joining = ?2 WHERE id = ?1";
inline constexpr char kSelectJoining[] = R"sql(
SELECT DISTINCT run.study, joining FROM run INDEXED BY run_joining JOIN study ON id = run.study WHERE state = 0)sql";
inline constexpr char kJoinRuns[] =
    "UPDATE run SET state = 1, change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number IN (SELECT number FROM run INDEXED BY run_joining WHERE study = ?1 AND state = 0 "
    "ORDER BY number LIMIT ?2) RETURNING 1";
inline constexpr char kEraseJoining[] = R"sql(
DELETE FROM run WHERE study = ?1 AND number IN (
  SELECT number FROM run INDEXED BY run_joining WHERE study = ?1 AND state = 0 ORDER BY number LIMIT ?2)
RETURNING 1)sql";
inline constexpr char kSelectCutOffCancels[] = R"sql(
SELECT DISTINCT id FROM run_count JOIN study ON id = run_count.study
WHERE run_count.state IN (1, 4) AND count > 0 AND cancelled = 1 AND deleted = 0)sql";

// ---- deleting (deletion.cc)

inline constexpr char kMarkDeleted[] = "UPDATE study SET deleted = 1, stored_bytes = 0 WHERE id = ?";
inline constexpr char kSelectDeleted[] = "SELECT id FROM study WHERE deleted = 1 ORDER BY id LIMIT 1";
inline constexpr char kEraseSegments[] = R"sql(
DELETE FROM segment WHERE rowid IN (SELECT rowid FROM segment WHERE study = ? LIMIT ?) RETURNING 1)sql";
inline constexpr char kEraseFrames[] = R"sql(
DELETE FROM frame WHERE rowid IN (SELECT rowid FROM frame WHERE study = ? LIMIT ?) RETURNING 1)sql";
inline constexpr char kEraseFrameBeds[] = R"sql(
DELETE FROM frame_bed WHERE rowid IN (SELECT rowid FROM frame_bed WHERE study = ? LIMIT ?) RETURNING 1)sql";
#define GYREBOX_FIRST_RUNS "(SELECT number FROM run WHERE study = ?1 ORDER BY number LIMIT ?2)"
inline constexpr char kEraseStates[] =
    "DELETE FROM state WHERE study = ?1 AND run IN " GYREBOX_FIRST_RUNS " RETURNING file";
inline constexpr char kEraseJournals[] = "DELETE FROM journal WHERE study = ?1 AND run IN " GYREBOX_FIRST_RUNS;
inline constexpr char kEraseRuns[] =
    "DELETE FROM run WHERE study = ?1 AND number IN " GYREBOX_FIRST_RUNS " RETURNING observables";
#undef GYREBOX_FIRST_RUNS
inline constexpr char kEraseStartState[] = "DELETE FROM start_state WHERE study = ? RETURNING file";
inline constexpr char kEraseObservables[] = R"sql(
DELETE FROM observable_list WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM run WHERE observables = ?1))sql";
inline constexpr const char* kEraseStudy[] = {
    "DELETE FROM label WHERE study = ?",     "DELETE FROM edit WHERE study = ?", "DELETE FROM request WHERE study = ?",
    "DELETE FROM run_count WHERE study = ?", "DELETE FROM study WHERE id = ?",
};

// ---- retention (keeping.cc)

inline constexpr char kSelectAllBytes[] = R"sql(
SELECT COALESCE(SUM(stored_bytes), 0), COUNT(delete_time) FROM study WHERE deleted = 0)sql";
/// Studies that may be deleted, in the order in which they ended.
inline constexpr char kSelectDeletable[] = R"sql(
SELECT id, owner, end_time, stored_bytes, delete_time, warned_seconds FROM study
WHERE ended IS NOT NULL AND archived = 0 AND deleted = 0
ORDER BY ended)sql";
inline constexpr char kCountWarnedSeconds[] =
    "UPDATE study SET warned_seconds = warned_seconds + ? WHERE delete_time IS NOT NULL";
inline constexpr char kWarn[] = R"sql(
UPDATE study SET delete_time = ?2, delete_reason = ?3
WHERE id = ?1 AND ended IS NOT NULL AND archived = 0 AND deleted = 0)sql";
inline constexpr char kSelectWarned[] = "SELECT id FROM study WHERE delete_time IS NOT NULL";
inline constexpr char kDropWarning[] = R"sql(
UPDATE study SET delete_time = NULL, delete_reason = NULL, warned_seconds = 0 WHERE id = ?)sql";
inline constexpr char kIsDue[] = R"sql(
SELECT 1 FROM study WHERE id = ?1 AND delete_time IS NOT NULL AND archived = 0 AND warned_seconds >= ?2)sql";

#undef GYREBOX_NEXT_CHANGE

// ---- samples

/// Appends to the series of a starting or running run.
inline constexpr char kInsertSegment[] = R"sql(
INSERT INTO segment (study, run, first, count, last_time, samples, wide)
SELECT study, number, sample_count, ?3, ?4, ?5, ?6 FROM run WHERE study = ?1 AND number = ?2 AND state IN (2, 3))sql";
inline constexpr char kSelectSegments[] = R"sql(
SELECT first, count, samples, wide FROM segment
WHERE study = ?1 AND run = ?2 AND first >= COALESCE(
  (SELECT MAX(first) FROM segment WHERE study = ?1 AND run = ?2 AND first <= ?3), 0)
ORDER BY first)sql";
/// Single numbers only: SQLite does not read the overflow pages of a column that is not selected.
inline constexpr char kSelectLateSegments[] = R"sql(
SELECT first, count, samples FROM segment WHERE study = ? AND run = ? AND last_time >= ? ORDER BY first)sql";

// ---- frames

/// For a starting or running run. Returns a row if it was inserted.
inline constexpr char kInsertFrameBed[] = R"sql(
INSERT INTO frame_bed (study, run, side_x, side_y, kinds)
SELECT study, number, ?3, ?4, ?5 FROM run WHERE study = ?1 AND number = ?2 AND state IN (2, 3)
ON CONFLICT DO NOTHING RETURNING run)sql";
inline constexpr char kInsertFrame[] = R"sql(
INSERT INTO frame (study, run, step, time, beads, checksum)
SELECT study, number, ?3, ?4, ?5, ?6 FROM run WHERE study = ?1 AND number = ?2 AND state IN (2, 3)
ON CONFLICT DO NOTHING RETURNING run)sql";
inline constexpr char kCutFrames[] = R"sql(
DELETE FROM frame WHERE study = ? AND run = ? AND step >= ?)sql";
inline constexpr char kSelectFrameBed[] = "SELECT side_x, side_y, kinds FROM frame_bed WHERE study = ? AND run = ?";
inline constexpr char kSelectFrame[] = R"sql(
SELECT time, beads, checksum FROM frame WHERE study = ? AND run = ? AND step = ?)sql";
inline constexpr char kSelectFrameStep[] = R"sql(
SELECT step FROM frame WHERE study = ? AND run = ? AND step <= ? ORDER BY step DESC LIMIT 1)sql";
inline constexpr char kSelectFrameStamps[] = R"sql(
SELECT step, time FROM frame WHERE study = ? AND run = ? AND step >= ? ORDER BY step LIMIT ?)sql";

// ---- tokens

#define GYREBOX_TOKEN_COLUMNS "id, user, role, create_time, expire_time, revoke_time, hash"
inline constexpr char kInsertToken[] = R"sql(
INSERT INTO token (user, role, create_time, expire_time, hash) VALUES (?, ?, ?, ?, ?) RETURNING )sql" GYREBOX_TOKEN_COLUMNS;
inline constexpr char kSelectTokens[] = "SELECT " GYREBOX_TOKEN_COLUMNS " FROM token ORDER BY id";
inline constexpr char kRevokeTokens[] = R"sql(
UPDATE token SET revoke_time = ? WHERE (id = ? OR user = ?) AND revoke_time IS NULL RETURNING )sql" GYREBOX_TOKEN_COLUMNS;
#undef GYREBOX_TOKEN_COLUMNS

}  // namespace gyrebox::store::sql
