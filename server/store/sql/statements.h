/// Every statement that the store runs. In states: 1 queued, 2 starting, 3 running, 5 finished, 6 unstable, 7 failed,
/// 8 cancelled (v1::Run::State).
#pragma once

namespace gyrebox::store::sql {

// ---- opening

/// Runs that an earlier process left under way go back to the queue, or end where their study was cancelled.
inline constexpr char kSelectCutOffStudies[] = "SELECT DISTINCT study FROM run WHERE state IN (2, 3)";
inline constexpr char kDropCutOffSamples[] = R"sql(
DELETE FROM segment WHERE (study, run) IN (
  SELECT run.study, run.number FROM run JOIN study ON study.id = run.study
  WHERE run.state IN (2, 3) AND study.cancelled = 0))sql";
inline constexpr char kCancelCutOffRuns[] = R"sql(
UPDATE run SET state = 8, end_time = ?1, change = (SELECT change + 1 FROM study WHERE id = run.study)
WHERE state IN (2, 3) AND (SELECT cancelled FROM study WHERE id = run.study) = 1)sql";
inline constexpr char kRequeueCutOffRuns[] = R"sql(
UPDATE run SET state = 1, step = 0, time = 0, sample_count = 0, observables = NULL, device = NULL, start_time = NULL,
  faults_passed = NULL, alarm = NULL, change = (SELECT change + 1 FROM study WHERE id = run.study)
WHERE state IN (2, 3))sql";
// ---- studies

inline constexpr char kInsertStudy[] = R"sql(
INSERT INTO study (spec, request_id, create_time, owner) VALUES (?, NULLIF(?, ''), ?, ?) RETURNING id)sql";
inline constexpr char kFindRequest[] = "SELECT id FROM study WHERE request_id = ?";
inline constexpr char kSelectStudy[] = R"sql(
SELECT id, spec, create_time, start_time, end_time, cancelled, change, owner FROM study WHERE id = ?)sql";
inline constexpr char kSelectOwner[] = "SELECT owner FROM study WHERE id = ?";
inline constexpr char kSelectStudyIds[] = "SELECT id FROM study WHERE id < ? ORDER BY id DESC LIMIT ?";
inline constexpr char kCountRuns[] = R"sql(
SELECT state, COUNT(*), SUM(CAST(step AS REAL) * bead_count), SUM(CAST(total_steps AS REAL) * bead_count)
FROM run WHERE study = ? GROUP BY state)sql";
inline constexpr char kCountAllRuns[] = "SELECT COUNT(*) FROM run WHERE state = ?";
inline constexpr char kOpenWork[] = R"sql(
SELECT COALESCE(SUM(CAST(total_steps - step AS REAL) * bead_count), 0) FROM run
WHERE state IN (1, 2, 3) AND study <= ?)sql";
inline constexpr char kIsCancelled[] = "SELECT cancelled FROM study WHERE id = ?";
inline constexpr char kCancelStudy[] = R"sql(
UPDATE study SET cancelled = 1 WHERE id = ? AND cancelled = 0 AND end_time IS NULL)sql";
inline constexpr char kCancelQueuedRuns[] = R"sql(
UPDATE run SET state = 8, end_time = ?2, change = (SELECT change + 1 FROM study WHERE id = ?1)
WHERE study = ?1 AND state = 1)sql";
/// Counts a change of a study, and ends it where none of its runs is open.
inline constexpr char kCountChange[] = R"sql(
UPDATE study SET change = change + 1, end_time = CASE
  WHEN EXISTS (SELECT 1 FROM run WHERE run.study = ?1 AND state IN (1, 2, 3)) THEN NULL ELSE ?2 END
WHERE id = ?1)sql";

// ---- runs

inline constexpr char kInsertRun[] = R"sql(
INSERT INTO run (study, number, axis_values, trial, seed_places, seed_noise, seed_disorder, bead_count, total_steps,
  state)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 1))sql";
#define GYREBOX_RUN_COLUMNS                                                                                          \
  "SELECT run.study, number, axis_values, trial, seed_places, seed_noise, seed_disorder, state, step, total_steps, " \
  "time, sample_count, fault, device, start_time, end_time, change, faults_passed, alarm FROM run "
inline constexpr char kSelectRun[] = GYREBOX_RUN_COLUMNS "WHERE study = ? AND number = ?";
inline constexpr char kSelectRuns[] = GYREBOX_RUN_COLUMNS "WHERE study = ? AND number > ? ORDER BY number LIMIT ?";
inline constexpr char kSelectChangedRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND (change, number) > (?, ?) ORDER BY change, number LIMIT ?";
inline constexpr char kSelectQueuedRuns[] = GYREBOX_RUN_COLUMNS
    "WHERE state = 1 AND study = (SELECT MIN(study) FROM run WHERE state = 1) ORDER BY number LIMIT ?";
#undef GYREBOX_RUN_COLUMNS
inline constexpr char kStartRun[] = R"sql(
UPDATE run SET state = 2, start_time = ?3, device = ?4, change = (SELECT change + 1 FROM study WHERE id = ?1)
WHERE study = ?1 AND number = ?2 AND state = 1)sql";
inline constexpr char kRequeueRun[] = R"sql(
UPDATE run SET state = 1, start_time = NULL, device = NULL, change = (SELECT change + 1 FROM study WHERE id = ?1)
WHERE study = ?1 AND number = ?2 AND state = 2)sql";
inline constexpr char kStartStudy[] = "UPDATE study SET start_time = ?2 WHERE id = ?1 AND start_time IS NULL";
inline constexpr char kSetObservables[] = R"sql(
UPDATE run SET observables = ?3 WHERE study = ?1 AND number = ?2)sql";
inline constexpr char kInsertObservables[] = "INSERT INTO observable_list (list) VALUES (?) RETURNING id";
inline constexpr char kSelectObservables[] = R"sql(
SELECT list FROM observable_list WHERE id = (SELECT observables FROM run WHERE study = ? AND number = ?))sql";
inline constexpr char kUpdateRun[] = R"sql(
UPDATE run SET state = ?3, step = ?4, time = ?5, sample_count = sample_count + ?6, fault = ?7, end_time = ?8,
  faults_passed = ?9, alarm = ?10, change = (SELECT change + 1 FROM study WHERE id = ?1)
WHERE study = ?1 AND number = ?2 AND state IN (2, 3))sql";

// ---- states

/// Of a run under way, as it ends.
inline constexpr char kInsertEndState[] = R"sql(
INSERT INTO end_state (study, run, length, checksum, side_x, side_y)
SELECT study, number, ?3, ?4, ?5, ?6 FROM run WHERE study = ?1 AND number = ?2 AND state IN (2, 3))sql";
inline constexpr char kSelectEndState[] = R"sql(
SELECT length, checksum, side_x, side_y FROM end_state WHERE study = ? AND run = ?)sql";

// ---- samples

/// Appends to the series of a run under way.
inline constexpr char kInsertSegment[] = R"sql(
INSERT INTO segment (study, run, first, count, last_time, samples)
SELECT study, number, sample_count, ?3, ?4, ?5 FROM run WHERE study = ?1 AND number = ?2 AND state IN (2, 3))sql";
inline constexpr char kSelectSegments[] = R"sql(
SELECT first, count, samples FROM segment
WHERE study = ?1 AND run = ?2 AND first >= COALESCE(
  (SELECT MAX(first) FROM segment WHERE study = ?1 AND run = ?2 AND first <= ?3), 0)
ORDER BY first)sql";
inline constexpr char kSelectLateSegments[] = R"sql(
SELECT first, count, samples FROM segment WHERE study = ? AND run = ? AND last_time >= ? ORDER BY first)sql";

// ---- tokens

#define GYREBOX_TOKEN_COLUMNS "id, person, role, create_time, expire_time, revoke_time, hash"
inline constexpr char kInsertToken[] = R"sql(
INSERT INTO token (person, role, create_time, expire_time, hash) VALUES (?, ?, ?, ?, ?) RETURNING )sql" GYREBOX_TOKEN_COLUMNS;
inline constexpr char kSelectTokens[] = "SELECT " GYREBOX_TOKEN_COLUMNS " FROM token ORDER BY id";
inline constexpr char kRevokeTokens[] = R"sql(
UPDATE token SET revoke_time = ? WHERE (id = ? OR person = ?) AND revoke_time IS NULL RETURNING )sql" GYREBOX_TOKEN_COLUMNS;
#undef GYREBOX_TOKEN_COLUMNS

}  // namespace gyrebox::store::sql
