#include "store/identity.h"

#include <spdlog/spdlog.h>

#include <filesystem>
#include <fstream>
#include <vector>

#include "store/sql/identity.h"
#include "store/state_file.h"

namespace gyrebox::store {

constexpr char kFile[] = "identity";

static std::string IdIn(const std::string& directory) {
  std::string id;
  std::ifstream(directory + "/" + kFile) >> id;
  return id;
}

static bool HasStates(const std::string& directory) {
  std::error_code none;
  const std::filesystem::directory_iterator states(directory + "/states", none), end;
  return !none && states != end;
}

static absl::StatusOr<bool> HasTable(Connection& connection, const std::string& name) {
  Statement row = connection.Prepare(sql::kHasTable);
  const bool any = row.Bind(name).Next();
  return row.status().ok() ? absl::StatusOr<bool>(any) : row.status();
}

absl::StatusOr<std::optional<Identity>> ReadIdentity(Connection& connection) {
  const auto has = HasTable(connection, "identity");
  if (!has.ok() || !*has) return has.ok() ? absl::StatusOr<std::optional<Identity>>(std::nullopt) : has.status();
  Statement row = connection.Prepare(sql::kSelectIdentity);
  if (!row.Next()) return row.status().ok() ? absl::StatusOr<std::optional<Identity>>(std::nullopt) : row.status();
  Identity identity{row.Text(0), std::nullopt};
  if (!row.IsNull(1)) identity.copy_time = row.Int(1);
  return identity;
}

static absl::Status NoDatabase(const std::string& directory, const char* what) {
  return absl::FailedPreconditionError(directory + " holds a store, but its database gyrebox.db " + what +
                                       ". Nothing was changed. Put the database back, or a backup of the whole "
                                       "directory; to begin with an empty store, give another --data");
}

absl::Status CheckDirectory(const std::string& directory) {
  std::error_code error;
  if (const auto size = std::filesystem::file_size(directory + "/gyrebox.db", error); !error && size > 0) {
    return absl::OkStatus();
  }
  if (!HasStates(directory) && IdIn(directory).empty()) return absl::OkStatus();
  return NoDatabase(directory, error ? "is not there" : "is empty");
}

static absl::Status OfAnother(const std::string& directory, const std::string& what) {
  return absl::FailedPreconditionError(directory + "/gyrebox.db " + what +
                                       ". Nothing was changed. Put back the database that belongs to this directory, "
                                       "or a backup of the whole directory; or give another --data");
}

absl::Status CheckIdentity(Connection& connection, const std::string& directory) {
  int64_t tables = 0;
  {
    Statement row = connection.Prepare(sql::kCountTables);
    if (row.Next()) tables = row.Int(0);
    if (!row.status().ok()) return row.status();
  }
  const std::string id = IdIn(directory);
  if (tables == 0) {
    return HasStates(directory) || !id.empty() ? NoDatabase(directory, "holds nothing") : absl::OkStatus();
  }
  for (const char* table : {"study", "run", "segment"}) {
    const auto has = HasTable(connection, table);
    if (!has.ok()) return has.status();
    if (!*has) return OfAnother(directory, "is no database of this server");
  }
  const auto identity = ReadIdentity(connection);
  if (!identity.ok()) return identity.status();
  if (identity->has_value() && (*identity)->copy_time) {
    spdlog::info("{} is a copy of store {}, made {} s after 1970", directory, (*identity)->id,
                 *(*identity)->copy_time / 1000);
  }
  if (id.empty() || (identity->has_value() && (*identity)->id == id)) return absl::OkStatus();
  return OfAnother(directory, identity->has_value()
                                  ? "is that of store " + (*identity)->id + ", and the directory that of store " + id
                                  : "is of an older version than its directory, that of store " + id);
}

absl::Status NoteIdentity(Connection& connection, const std::string& directory) {
  const auto identity = ReadIdentity(connection);
  if (!identity.ok()) return identity.status();
  if (!identity->has_value()) return absl::DataLossError(directory + "/gyrebox.db has lost its identity");
  if (!IdIn(directory).empty()) return absl::OkStatus();
  const std::string text = (*identity)->id + "\n";
  return WriteAtomically(directory, std::vector<WholeFile>{{kFile, text}});
}

}  // namespace gyrebox::store
