/// SQL statements on waiting runs, and those taken by a device. See runs.h for the states of runs.
#pragma once

#include "store/sql/next_change.h"

namespace gyrebox::store::sql {

/// Runs interrupted in an earlier process: they resume from their checkpoints, or end if their study was cancelled.
inline constexpr char kSelectInterruptedRuns[] = R"sql(
SELECT run.study, number, cancelled FROM run JOIN study ON study.id = run.study WHERE state IN (2, 3))sql";
inline constexpr char kCancelInterruptedRun[] =
    "UPDATE run SET state = 8, end_time = ?3, change = " GYREBOX_NEXT_CHANGE " WHERE study = ?1 AND number = ?2";
inline constexpr char kSelectWaiting[] = R"sql(
SELECT id, owner,
  (SELECT priority FROM run WHERE run.study = id AND run.state = 1 ORDER BY priority DESC LIMIT 1), count
FROM run_count JOIN study ON id = run_count.study
WHERE run_count.state = 1 AND count > 0 AND deleted = 0 AND cancelled = 0)sql";
/// @param 2 number of a run; 0 for all runs of the study. @param 4 skips runs up to this number. @param 5 max rows.
inline constexpr char kSetPriority[] =
    "UPDATE run SET priority = ?3, change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number IN (SELECT number FROM run WHERE study = ?1 AND number > ?4 AND "
    "(?2 = 0 OR number = ?2) AND state BETWEEN 1 AND 4 ORDER BY number LIMIT ?5) RETURNING number";
inline constexpr char kOpenWork[] = R"sql(
SELECT study, SUM(total - done) FROM run_count WHERE state BETWEEN 1 AND 4 AND count > 0 GROUP BY study ORDER BY study)sql";
inline constexpr char kStartRun[] =
    "UPDATE run SET state = 2, start_time = COALESCE(start_time, ?3), device = ?4, change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND number = ?2 AND state = 1 RETURNING number";
inline constexpr char kStartStudy[] = "UPDATE study SET start_time = ?2 WHERE id = ?1 AND start_time IS NULL";

}  // namespace gyrebox::store::sql
