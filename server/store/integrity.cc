#include "store/integrity.h"

namespace gyrebox::store {

static absl::Status CheckPages(Connection& connection) {
  Statement found = connection.Prepare("PRAGMA quick_check(1)");
  const bool any = found.Next();
  if (!found.status().ok()) return found.status();
  return any && found.Text(0) != "ok" ? absl::DataLossError(found.Text(0)) : absl::OkStatus();
}

static absl::Status Explain(const std::string& path, const absl::Status& status) {
  const std::string what = path + ": " + std::string(status.message());
  if (absl::IsDataLoss(status)) {
    return absl::DataLossError(what +
                               ". The database is damaged, and was left as it is. Put back a backup of the whole data "
                               "directory; or save what can be read with: gyreboxd --data DIRECTORY --salvage "
                               "NEW_DIRECTORY, which says what was lost");
  }
  if (absl::IsFailedPrecondition(status)) {
    return absl::FailedPreconditionError(what + "; give the user of this server the right to write in that directory");
  }
  return status;
}

absl::StatusOr<std::unique_ptr<Connection>> OpenChecked(const std::string& path) {
  auto connection = Connection::Open(path, Connection::Mode::kWrite);
  if (!connection.ok()) return Explain(path, connection.status());
  if (auto status = CheckPages(**connection); !status.ok()) return Explain(path, status);
  return connection;
}

}  // namespace gyrebox::store
