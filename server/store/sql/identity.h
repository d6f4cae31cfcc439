/// SQL statements on the identity of a store.
#pragma once

namespace gyrebox::store::sql {

inline constexpr char kSetCopyTime[] = "UPDATE identity SET copy_time = ?";
inline constexpr char kSelectIdentity[] = "SELECT id, copy_time FROM identity";
inline constexpr char kHasTable[] = "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = ?";
inline constexpr char kCountTables[] = "SELECT COUNT(*) FROM sqlite_schema";

}  // namespace gyrebox::store::sql
