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

/// One use of a prepared statement. The first error sticks: later calls do nothing, status() tells it.
class Statement {
 public:
  /// Bytes to bind; their memory must live until Run() or the last Next().
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
    int place = 0;
    (BindOne(++place, values), ...);
    return *this;
  }

  /// Binds one parameter, counted from 1. What is not bound is NULL.
  template <class Value>
  void BindAt(int place, const Value& value) {
    BindOne(place, value);
  }

  /// Goes to the next row. False at the end and on an error.
  bool Next();

  /// Runs to the end.
  absl::Status Run();

  int64_t Int(int column) const { return sqlite3_column_int64(statement_, column); }
  double Real(int column) const { return sqlite3_column_double(statement_, column); }
  bool IsNull(int column) const { return sqlite3_column_type(statement_, column) == SQLITE_NULL; }
  std::string Text(int column) const;  ///< of a text or a blob

  const absl::Status& status() const { return status_; }

 private:
  void BindOne(int place, int64_t value);
  void BindOne(int place, int value) { BindOne(place, static_cast<int64_t>(value)); }
  void BindOne(int place, double value);
  void BindOne(int place, const std::string& text);
  void BindOne(int place, const Blob& blob);
  void Check(int code);

  sqlite3_stmt* statement_;
  absl::Status status_;
};

/// One connection; used by one thread at a time. Keeps its prepared statements.
class Connection {
 public:
  enum class Mode { kWrite, kRead };
  static absl::StatusOr<std::unique_ptr<Connection>> Open(const std::string& path, Mode mode);
  /// Makes a new database, without a log of its own: a copy is written into it.
  static absl::StatusOr<std::unique_ptr<Connection>> Create(const std::string& path);
  ~Connection();

  /// A statement of this connection, prepared once. One use of a statement ends before the next begins.
  Statement Prepare(const char* sql);

  /// Runs statements that take and give nothing.
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
