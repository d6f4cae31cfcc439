/// SQL statements that make salvaged rows consistent.
#pragma once

namespace gyrebox::store::sql {

inline constexpr char kColumnsOf[] = R"sql(
SELECT name, type, "notnull", dflt_value IS NOT NULL, pk FROM pragma_table_info(?) ORDER BY cid)sql";
inline constexpr char kHasRowids[] = "SELECT NOT wr FROM pragma_table_list WHERE name = ?";

// ---- studies and runs that other rows depend on

inline constexpr char kDeletedStudies[] = "DELETE FROM study WHERE deleted = 1 RETURNING id";
inline constexpr char kAllStudies[] = "SELECT id, spec, cancelled FROM study ORDER BY id";
inline constexpr char kDropStudy[] = "DELETE FROM study WHERE id = ?";
inline constexpr char kStudiesNamed[] = R"sql(
SELECT study FROM run UNION SELECT study FROM segment UNION SELECT study FROM frame UNION SELECT study FROM state
UNION SELECT study FROM start_state UNION SELECT study FROM journal UNION SELECT study FROM edit
EXCEPT SELECT id FROM study)sql";
inline constexpr char kDropWithoutStudy[] = R"sql(
DELETE FROM run WHERE study NOT IN (SELECT id FROM study);
DELETE FROM start_state WHERE study NOT IN (SELECT id FROM study);
DELETE FROM label WHERE study NOT IN (SELECT id FROM study);
DELETE FROM edit WHERE study NOT IN (SELECT id FROM study);
DELETE FROM request WHERE study NOT IN (SELECT id FROM study);
)sql";
inline constexpr char kNumbersOf[] =
    "SELECT number, axis_values, trial, audit FROM run WHERE study = ? ORDER BY number";
inline constexpr char kRunsNamed[] = R"sql(
SELECT study, run FROM segment UNION SELECT study, run FROM frame_bed UNION SELECT study, run FROM state
UNION SELECT study, run FROM journal EXCEPT SELECT study, number FROM run)sql";
inline constexpr char kRunsWithJournal[] = "SELECT DISTINCT study, run FROM journal";
#define GYREBOX_DROP_WITHOUT_RUN(TABLE)                                                                             \
  "DELETE FROM " TABLE " WHERE NOT EXISTS (SELECT 1 FROM run WHERE run.study = " TABLE ".study AND number = " TABLE \
  ".run);"
inline constexpr char kDropWithoutRun[] = GYREBOX_DROP_WITHOUT_RUN("segment") GYREBOX_DROP_WITHOUT_RUN("frame_bed")
    GYREBOX_DROP_WITHOUT_RUN("frame") GYREBOX_DROP_WITHOUT_RUN("state") GYREBOX_DROP_WITHOUT_RUN("journal");
#undef GYREBOX_DROP_WITHOUT_RUN
inline constexpr char kCancelRun[] = "UPDATE run SET state = 8, end_time = ?3 WHERE study = ?1 AND number = ?2";
inline constexpr char kFailRun[] =
    "UPDATE run SET state = 7, fault = ?3, end_time = COALESCE(end_time, ?4) WHERE study = ?1 AND number = ?2";

// ---- samples, journals and frames

inline constexpr char kForgetLostColumns[] =
    "UPDATE run SET observables = NULL WHERE observables NOT IN (SELECT id FROM observable_list)";
inline constexpr char kRunsToCheck[] = R"sql(
SELECT study, number, state, sample_count, journal_length, step,
  EXISTS (SELECT 1 FROM observable_list WHERE id = observables) FROM run ORDER BY study, number)sql";
inline constexpr char kSegmentsOf[] =
    "SELECT first, count, samples, wide FROM segment WHERE study = ? AND run = ? ORDER BY first";
/// Observables of other runs of the study.
inline constexpr char kColumnsBeside[] = R"sql(
SELECT DISTINCT id, list FROM observable_list JOIN run ON observables = id WHERE study = ?)sql";
inline constexpr char kUseColumns[] = "UPDATE run SET observables = ?3 WHERE study = ?1 AND number = ?2";
inline constexpr char kCutSeries[] = "UPDATE run SET sample_count = ?3 WHERE study = ?1 AND number = ?2";
inline constexpr char kDropUnsoundCheckpoints[] =
    "DELETE FROM state WHERE study = ? AND run = ? AND kind = 1 AND sample_count > ?";
inline constexpr char kCountJournal[] = "SELECT COUNT(*), MAX(number) FROM journal WHERE study = ? AND run = ?";
inline constexpr char kSetJournalLength[] =
    "UPDATE run SET journal_length = MAX(journal_length, ?3) WHERE study = ?1 AND number = ?2";
inline constexpr char kForgetEnd[] = "UPDATE run SET fault = NULL WHERE study = ? AND number = ?";
inline constexpr char kPauseAgain[] = "UPDATE run SET state = 4 WHERE study = ? AND number = ? AND state = 1";
inline constexpr char kAllFrames[] = R"sql(
SELECT study, run, step, beads, checksum,
  (SELECT LENGTH(kinds) FROM frame_bed WHERE frame_bed.study = frame.study AND frame_bed.run = frame.run) FROM frame)sql";
inline constexpr char kDropFrame[] = "DELETE FROM frame WHERE study = ? AND run = ? AND step = ?";
inline constexpr char kHasFrame[] = "SELECT 1 FROM frame WHERE study = ? AND run = ? AND step = ?";

// ---- states

inline constexpr char kAllStates[] = "SELECT study, run, kind, step, file, length, checksum FROM state";
inline constexpr char kDropState[] = "DELETE FROM state WHERE study = ? AND run = ? AND kind = ? AND step = ?";
inline constexpr char kAllStartStates[] = "SELECT study, file, length, checksum FROM start_state";
inline constexpr char kDropStartState[] = "DELETE FROM start_state WHERE study = ?";

// ---- the rest

inline constexpr char kAllTokens[] = "SELECT id FROM token ORDER BY id";
inline constexpr char kEditNumbers[] = "SELECT study, number FROM edit ORDER BY study, number";
inline constexpr char kDropSequence[] = "DELETE FROM sqlite_sequence WHERE name = ?";
inline constexpr char kPutSequence[] = "INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)";
inline constexpr char kDropOwnersAsLabels[] =
    "DELETE FROM label WHERE label = (SELECT owner FROM study WHERE study.id = label.study)";
inline constexpr char kCountAll[] = "SELECT (SELECT COUNT(*) FROM study), (SELECT COUNT(*) FROM run)";
inline constexpr char kRecountRuns[] = R"sql(
DELETE FROM run_count;
INSERT INTO run_count (study, state, count, done, total)
SELECT study, state, COUNT(*), SUM(CAST(step AS REAL) * bead_count), SUM(CAST(total_steps AS REAL) * bead_count)
FROM run GROUP BY study, state;
)sql";

}  // namespace gyrebox::store::sql
