/// SQL statements on states of runs. See runs.h for the states of runs.
#pragma once

#include "store/sql/next_change.h"

namespace gyrebox::store::sql {

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
inline constexpr char kCutSamples[] = R"sql(
DELETE FROM segment WHERE study = ? AND run = ? AND first >= ?)sql";

// ---- opening

inline constexpr char kDropCheckpointsOfTheEnded[] = R"sql(
DELETE FROM state WHERE kind = 1 AND
  (SELECT run.state FROM run WHERE run.study = state.study AND number = state.run) >= 5 RETURNING study, run, file)sql";
inline constexpr char kSelectAllFiles[] = "SELECT file FROM state UNION SELECT file FROM start_state";
/// With length, checksum, and whether the file is only a checkpoint.
inline constexpr char kSelectKnownFiles[] = R"sql(
SELECT file, length, checksum, MIN(kind = 1) FROM state GROUP BY file
UNION ALL SELECT file, length, checksum, 0 FROM start_state)sql";

}  // namespace gyrebox::store::sql
