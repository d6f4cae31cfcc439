/// SQL statements on disk usage and limits.
#pragma once

namespace gyrebox::store::sql {

/// Waiting and held runs of one user.
inline constexpr char kCountOpenRuns[] = R"sql(
SELECT COALESCE(SUM(count), 0) FROM run_count JOIN study ON id = run_count.study
WHERE run_count.state IN (1, 4) AND owner = ?)sql";
inline constexpr char kSelectStoredBytes[] = "SELECT owner, bytes FROM owner_bytes WHERE bytes > 0";
inline constexpr char kSelectBytesOf[] = "SELECT bytes FROM owner_bytes WHERE owner = ?";
inline constexpr char kAddStoredBytes[] = "UPDATE study SET stored_bytes = stored_bytes + ?2 WHERE id = ?1";

}  // namespace gyrebox::store::sql
