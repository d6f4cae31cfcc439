/// The connections of a store, and transactions on them: one connection writes, as many as needed read.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "store/database.h"
#include "store/fair_mutex.h"

namespace gyrebox::store {

/// Thread-safe.
class Connections {
 public:
  using Work = std::function<absl::Status(Connection&)>;
  /// Writes up to `most` rows. @return number of rows written; fewer at the end.
  using SlicedWork = std::function<absl::StatusOr<int64_t>(Connection&, int64_t most)>;
  using InsertOne = std::function<absl::Status(Connection&, size_t index)>;

  /// @param path of the database.
  Connections(std::unique_ptr<Connection> writer, std::string path);

  /// Runs work in one transaction on the writing connection.
  absl::Status Write(const Work& work);
  /// Runs work in one read transaction on its own connection.
  absl::Status Read(const Work& work);

  /// Whether this many new rows are written in slices.
  static bool TakesSlices(size_t rows);
  /// Writes very many rows. Each slice is its own short transaction, so other writers may come in between.
  absl::Status WriteInSlices(const SlicedWork& work);
  absl::Status InsertInSlices(size_t count, const InsertOne& insert);

  /// Checkpoints the write-ahead log after every few MiB of samples, without blocking writers.
  void Settle(int64_t bytes);

  /// The writing connection, while no other thread uses the store.
  Connection& writer() { return *writer_; }
  const std::string& path() const { return path_; }

 private:
  const std::string path_;
  FairMutex write_mutex_;
  std::unique_ptr<Connection> writer_;  ///< guarded by write_mutex_
  std::mutex settle_mutex_;
  std::unique_ptr<Connection> settler_;  ///< guarded by settle_mutex_
  int64_t unsettled_ = 0;                ///< bytes of samples; guarded by settle_mutex_
  std::mutex readers_mutex_;
  std::vector<std::unique_ptr<Connection>> readers_;  ///< idle connections; guarded by readers_mutex_
};

/// Runs a statement to its end. @return number of rows.
absl::StatusOr<int64_t> CountRows(Statement& rows);

}  // namespace gyrebox::store
