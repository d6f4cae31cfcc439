/// SQL statements on users.
#pragma once

namespace gyrebox::store::sql {

#define GYREBOX_TOKEN_COLUMNS "id, user, role, create_time, expire_time, revoke_time, hash"
inline constexpr char kInsertToken[] = R"sql(
INSERT INTO token (user, role, create_time, expire_time, hash) VALUES (?, ?, ?, ?, ?) RETURNING )sql" GYREBOX_TOKEN_COLUMNS;
inline constexpr char kSelectTokens[] = "SELECT " GYREBOX_TOKEN_COLUMNS " FROM token ORDER BY id";
inline constexpr char kRevokeTokens[] = R"sql(
UPDATE token SET revoke_time = ? WHERE (id = ? OR user = ?) AND revoke_time IS NULL RETURNING )sql" GYREBOX_TOKEN_COLUMNS;
#undef GYREBOX_TOKEN_COLUMNS
inline constexpr char kSelectUsers[] = "SELECT name, used_seconds, as_of FROM user";
inline constexpr char kWriteUser[] = "INSERT OR REPLACE INTO user (name, used_seconds, as_of) VALUES (?, ?, ?)";

}  // namespace gyrebox::store::sql
