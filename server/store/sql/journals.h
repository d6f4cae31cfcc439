/// SQL statements on journals of runs. See runs.h for the states of runs.
#pragma once

#include "store/sql/next_change.h"

namespace gyrebox::store::sql {

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
inline constexpr char kSelectJournals[] = "SELECT run, entry, number FROM journal WHERE study = ? ORDER BY run, number";
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
inline constexpr char kSelectEntry[] = "SELECT entry FROM journal WHERE study = ? AND run = ? AND number = ?";

}  // namespace gyrebox::store::sql
