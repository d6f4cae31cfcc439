/// SQL statements on calls that execute only once.
#pragma once

namespace gyrebox::store::sql {

inline constexpr char kFindRequest[] = R"sql(
SELECT hash, study, count, of_runs FROM request WHERE user = ? AND method = ? AND id = ?)sql";
/// Adds to the result of a call recorded in parts. || turns blobs into text with the same bytes, hence the CAST.
inline constexpr char kWriteRequest[] = R"sql(
INSERT INTO request (user, method, id, hash, create_time, study, count, of_runs) VALUES (?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET count = count + excluded.count, of_runs = CAST(of_runs || excluded.of_runs AS BLOB))sql";
inline constexpr char kDropRequests[] = "DELETE FROM request WHERE study = ?";

}  // namespace gyrebox::store::sql
