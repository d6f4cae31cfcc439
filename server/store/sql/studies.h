/// SQL statements on studies. See runs.h for the states of runs.
#pragma once

#include "store/sql/next_change.h"

namespace gyrebox::store::sql {

inline constexpr char kInsertStudy[] = R"sql(
INSERT INTO study (spec, create_time, owner, spec_hash) VALUES (?, ?, ?, ?) RETURNING id)sql";
inline constexpr char kSelectEqualStudy[] = R"sql(
SELECT id FROM study WHERE spec_hash = ? AND deleted = 0 ORDER BY id DESC LIMIT 1)sql";
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
inline constexpr char kIsCancelled[] = "SELECT cancelled FROM study WHERE id = ?";
inline constexpr char kCancelStudy[] = R"sql(
UPDATE study SET cancelled = 1 WHERE id = ? AND cancelled = 0 AND end_time IS NULL)sql";
inline constexpr char kResumeStudy[] = "UPDATE study SET cancelled = 0 WHERE id = ?";
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

inline constexpr char kSetOwner[] = "UPDATE study SET owner = ?2 WHERE id = ?1";
inline constexpr char kSetSpec[] = "UPDATE study SET spec = ?2, spec_hash = ?3 WHERE id = ?1";
/// Remembers the spec of a study before its last growth, the number of the first added run, and the bytes that the axis
/// values of the runs then grew by.
inline constexpr char kSetGrowth[] =
    "UPDATE study SET grown_from = ?2, first_grown = ?3, grown_bytes = ?4 WHERE id = ?1";
inline constexpr char kSelectGrowth[] =
    "SELECT grown_from, first_grown, grown_bytes FROM study WHERE id = ? AND grown_from IS NOT NULL";
/// The first added run that is no longer as it was added.
inline constexpr char kSelectStartedGrown[] = R"sql(
SELECT number FROM run WHERE study = ?1 AND number >= ?2 AND state > 0
  AND NOT (state = 1 AND step = 0 AND reached_step = 0 AND journal_length = 0 AND exclusion IS NULL)
ORDER BY number LIMIT 1)sql";
inline constexpr char kHideGrown[] = "UPDATE run SET state = 0 WHERE study = ?1 AND number >= ?2 RETURNING 1";
inline constexpr char kCutAxisValues[] =
    "UPDATE run SET axis_values = SUBSTR(axis_values, 1, LENGTH(axis_values) - ?2), change = " GYREBOX_NEXT_CHANGE
    " WHERE study = ?1 AND state > 0";
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
inline constexpr char kSelectInterruptedCancels[] = R"sql(
SELECT DISTINCT id FROM run_count JOIN study ON id = run_count.study
WHERE run_count.state IN (1, 4) AND count > 0 AND cancelled = 1 AND deleted = 0)sql";

}  // namespace gyrebox::store::sql
