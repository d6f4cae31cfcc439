#include "store/database.h"

#include <fcntl.h>
#include <unistd.h>

namespace gyrebox::store {

constexpr int kBusyMilliseconds = 10'000;
/// Pages of 4 kB in the write-ahead log after which a commit checkpoints the log itself. That is slow, so the store
/// does it earlier, when nobody waits: see Connections::Settle().
constexpr int kMaxLogPages = 16'384;

static absl::Status ToStatus(int code, const char* message) {
  const std::string text = std::string("database: ") + message;
  if (code == SQLITE_FULL) return absl::ResourceExhaustedError(text);
  if (code == SQLITE_CORRUPT || code == SQLITE_NOTADB) return absl::DataLossError(text);
  if (code == SQLITE_READONLY || code == SQLITE_CANTOPEN) return absl::FailedPreconditionError(text);
  if (code == SQLITE_BUSY) return absl::UnavailableError(text);
  if (code == SQLITE_CONSTRAINT) return absl::AlreadyExistsError(text);
  return absl::InternalError(text);
}

Statement::~Statement() {
  if (statement_ == nullptr) return;
  sqlite3_reset(statement_);
  sqlite3_clear_bindings(statement_);
}

void Statement::Check(int code) {
  if (code == SQLITE_OK || code == SQLITE_ROW || code == SQLITE_DONE) return;
  status_ = ToStatus(code & 0xFF, sqlite3_errmsg(sqlite3_db_handle(statement_)));
}

bool Statement::Next() {
  if (!status_.ok()) return false;
  const int code = sqlite3_step(statement_);
  Check(code);
  return code == SQLITE_ROW;
}

absl::Status Statement::Run() {
  while (Next()) {
  }
  return status_;
}

std::string Statement::Text(int column) const {
  const void* data = sqlite3_column_blob(statement_, column);
  return {static_cast<const char*>(data), static_cast<size_t>(sqlite3_column_bytes(statement_, column))};
}

void Statement::BindOne(int index, int64_t value) {
  if (status_.ok()) Check(sqlite3_bind_int64(statement_, index, value));
}

void Statement::BindOne(int index, double value) {
  if (status_.ok()) Check(sqlite3_bind_double(statement_, index, value));
}

void Statement::BindOne(int index, const std::string& text) {
  if (!status_.ok()) return;
  Check(sqlite3_bind_text64(statement_, index, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8));
}

void Statement::BindOne(int index, const Blob& blob) {
  if (status_.ok())
    Check(sqlite3_bind_blob64(statement_, index, blob.bytes ? blob.data : "", blob.bytes, SQLITE_STATIC));
}

/// Opens a database. A new file is readable only by its user, and so are the files that SQLite creates next to it.
static int OpenFile(const std::string& path, bool writes, sqlite3** database) {
  if (writes) {
    if (const int file = open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600); file >= 0) close(file);
  }
  const int flags = writes ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY;
  return sqlite3_open_v2(path.c_str(), database, flags | SQLITE_OPEN_NOMUTEX, nullptr);
}

absl::StatusOr<std::unique_ptr<Connection>> Connection::Create(const std::string& path) {
  sqlite3* database = nullptr;
  const int code = OpenFile(path, /*writes=*/true, &database);
  std::unique_ptr<Connection> connection(new Connection(database));
  if (code != SQLITE_OK) return ToStatus(code & 0xFF, database ? sqlite3_errmsg(database) : "out of memory");
  return connection;
}

absl::Status Connection::LastError() { return ToStatus(sqlite3_errcode(database_), sqlite3_errmsg(database_)); }

absl::StatusOr<std::unique_ptr<Connection>> Connection::Open(const std::string& path, Mode mode) {
  sqlite3* database = nullptr;
  const int code = OpenFile(path, mode == Mode::kWrite, &database);
  std::unique_ptr<Connection> connection(new Connection(database));
  if (code != SQLITE_OK) return ToStatus(code & 0xFF, database ? sqlite3_errmsg(database) : "out of memory");
  sqlite3_busy_timeout(database, kBusyMilliseconds);
  absl::Status status = connection->Execute("PRAGMA foreign_keys = ON");
  if (status.ok() && mode == Mode::kWrite) {
    status = connection->Execute(
        "PRAGMA recursive_triggers = ON; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; "
        "PRAGMA wal_autocheckpoint = " +
        std::to_string(kMaxLogPages));
  }
  if (!status.ok()) return status;
  return connection;
}

Connection::~Connection() {
  for (const auto& [sql, statement] : statements_) sqlite3_finalize(statement);
  sqlite3_close_v2(database_);
}

Statement Connection::Prepare(const char* sql) {
  sqlite3_stmt*& statement = statements_[sql];
  int code = SQLITE_OK;
  if (statement == nullptr) {
    code = sqlite3_prepare_v3(database_, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
  }
  return Statement(statement, code == SQLITE_OK ? absl::OkStatus() : ToStatus(code, sqlite3_errmsg(database_)));
}

absl::Status Connection::Execute(const std::string& sql) {
  const int code = sqlite3_exec(database_, sql.c_str(), nullptr, nullptr, nullptr);
  return code == SQLITE_OK ? absl::OkStatus() : ToStatus(code & 0xFF, sqlite3_errmsg(database_));
}

Transaction::Transaction(Connection& connection, Kind kind)
    : connection_(connection),
      status_(connection.Execute(kind == Kind::kWrite ? "BEGIN IMMEDIATE" : "BEGIN")),
      open_(status_.ok()) {}

Transaction::~Transaction() {
  if (open_) (void)connection_.Execute("ROLLBACK");
}

absl::Status Transaction::Commit() {
  if (!status_.ok()) return status_;
  status_ = connection_.Execute("COMMIT");
  if (status_.ok()) open_ = false;
  return status_;
}

}  // namespace gyrebox::store
