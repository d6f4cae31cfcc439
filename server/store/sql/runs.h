/// SQL statements on runs. States (v1::Run::State): 1 queued, 2 starting, 3 running,
/// 4 paused, 5 finished, 6 unstable, 7 failed, 8 cancelled; 0 is a run that is joining its study.
#pragma once

#include "store/sql/next_change.h"

namespace gyrebox::store::sql {

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
inline constexpr char kSelectRunsOnDevice[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND number > ? AND state IN (2, 3) ORDER BY number LIMIT ?";
inline constexpr char kSelectOpenRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND state BETWEEN 1 AND 4 ORDER BY number";
inline constexpr char kSelectChangedRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE study = ? AND (change, number) > (?, ?) AND state > 0 ORDER BY change, number LIMIT ?";
inline constexpr char kSelectQueuedRuns[] =
    GYREBOX_RUN_COLUMNS "WHERE state = 1 AND study = ? ORDER BY priority DESC, number LIMIT ?";
#undef GYREBOX_RUN_COLUMNS
inline constexpr char kSelectAuditedRuns[] =
    "SELECT axis_values, trial FROM run WHERE study = ? AND audit = 1 AND state > 0 ORDER BY number";
inline constexpr char kUpdateRun[] =
    "UPDATE run SET state = ?3, step = ?4, time = ?5, sample_count = sample_count + ?6, fault = ?7, end_time = ?8, "
    "recovered_faults = ?9, warning = ?10, pause_reason = NULLIF(?11, ''), change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number = ?2 AND state IN (2, 3)";
inline constexpr char kCountAllRuns[] = "SELECT COALESCE(SUM(count), 0) FROM run_count WHERE state = ?";
inline constexpr char kSelectReachedStep[] = "SELECT MAX(reached_step, step) FROM run WHERE study = ? AND number = ?";
/// Cancelled runs: the one with number ?2, or all if it is 0, after number ?3.
inline constexpr char kSelectCancelledRuns[] = R"sql(
SELECT number FROM run WHERE study = ?1 AND (?2 = 0 OR number = ?2) AND number > ?3 AND state = 8
ORDER BY number LIMIT ?4)sql";
inline constexpr char kHasRunsOnDevice[] =
    "SELECT 1 FROM run_count WHERE study = ? AND state IN (2, 3) AND count > 0 LIMIT 1";
inline constexpr char kSetExclusion[] =
    "UPDATE run SET exclusion = ?3, change = " GYREBOX_NEXT_CHANGE " WHERE study = ?1 AND number = ?2";

}  // namespace gyrebox::store::sql
