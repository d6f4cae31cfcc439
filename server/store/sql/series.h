/// SQL statements on series of runs.
#pragma once

namespace gyrebox::store::sql {

inline constexpr char kSetObservables[] = R"sql(
UPDATE run SET observables = ?3 WHERE study = ?1 AND number = ?2)sql";
inline constexpr char kInsertObservables[] = "INSERT INTO observable_list (list) VALUES (?) RETURNING id";
inline constexpr char kSelectObservables[] = R"sql(
SELECT list FROM observable_list WHERE id = (SELECT observables FROM run WHERE study = ? AND number = ?))sql";
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

}  // namespace gyrebox::store::sql
