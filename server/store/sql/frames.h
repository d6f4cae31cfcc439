/// SQL statements on frames of runs.
#pragma once

namespace gyrebox::store::sql {

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

}  // namespace gyrebox::store::sql
