/// A thin layer over SQLite: connections, statements, transactions, errors as values.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>
#include <sqlite3.h>

#include <cstdint>
#include <map>
#include <memory>
#include <string>

namespace gyrebox::store {

/// One use of a prepared statement. The first error sticks: later calls do nothing, and status() returns it.
class Statement {
 public:
  /// Bytes to bind; they must stay valid until Run() or the last Next().
  struct Blob {
    const void* data;
    size_t bytes;
  };
  static Blob AsBlob(const void* data, size_t bytes) { return {data, bytes}; }
  static Blob AsBlob(const std::string& bytes) { return {bytes.data(), bytes.size()}; }

  Statement(sqlite3_stmt* statement, absl::Status status) : statement_(statement), status_(std::move(status)) {}
  ~Statement();
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  /// Binds the parameters in order, from the first.
  template <class... Values>
  Statement& Bind(const Values&... values) {
    int index = 0;
    (BindOne(++index, values), ...);
    return *this;
  }

  /// Binds one parameter, counted from 1. Unbound parameters are NULL.
  template <class Value>
  void BindAt(int index, const Value& value) {
    BindOne(index, value);
  }

  /// Moves to the next row. False at the end and on an error.
  bool Next();

  /// Runs the statement to its end.
  absl::Status Run();

  int64_t Int(int column) const { return sqlite3_column_int64(statement_, column); }
  double Real(int column) const { return sqlite3_column_double(statement_, column); }
  bool IsNull(int column) const { return sqlite3_column_type(statement_, column) == SQLITE_NULL; }
  std::string Text(int column) const;  ///< of a text or a blob

  const absl::Status& status() const { return status_; }

 private:
  void BindOne(int index, int64_t value);
  void BindOne(int index, int value) { BindOne(index, static_cast<int64_t>(value)); }
  void BindOne(int index, double value);
  void BindOne(int index, const std::string& text);
  void BindOne(int index, const Blob& blob);
  void Check(int code);

  sqlite3_stmt* statement_;
  absl::Status status_;
};

/// One connection, used by one thread at a time. Caches its prepared statements.
class Connection {
 public:
  enum class Mode { kWrite, kRead };
  static absl::StatusOr<std::unique_ptr<Connection>> Open(const std::string& path, Mode mode);
  /// Creates a new database without a write-ahead log, as the target of a copy.
  static absl::StatusOr<std::unique_ptr<Connection>> Create(const std::string& path);
  ~Connection();

  /// A statement of this connection, prepared once. Each use must end before the next begins.
  Statement Prepare(const char* sql);

  /// Runs statements without parameters or results.
  absl::Status Execute(const std::string& sql);

  sqlite3* raw() { return database_; }
  absl::Status LastError();

 private:
  explicit Connection(sqlite3* database) : database_(database) {}
  sqlite3* database_;
  std::map<const char*, sqlite3_stmt*> statements_;
};

/// A transaction; rolled back unless committed.
class Transaction {
 public:
  enum class Kind { kWrite, kRead };
  Transaction(Connection& connection, Kind kind);
  ~Transaction();
  absl::Status Commit();
  const absl::Status& status() const { return status_; }

 private:
  Connection& connection_;
  absl::Status status_;
  bool open_;
};

}  // namespace gyrebox::store
