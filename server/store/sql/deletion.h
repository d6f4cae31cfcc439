/// SQL statements on deletion and retention.
#pragma once

namespace gyrebox::store::sql {

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

// ---- retention (retention.cc)

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

}  // namespace gyrebox::store::sql
