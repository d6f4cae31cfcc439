/// Disk usage, and limits of the store.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <string>

#include "store/connections.h"

namespace gyrebox::store {

/// Limits of the store; 0 for no limit.
struct Bounds {
  int64_t open_runs = 0;     ///< waiting and held runs of one user
  int64_t stored_bytes = 0;  ///< of one user
  int64_t reserve = 0;       ///< bytes of disk space kept free; below it the store rejects studies and kept states
};

class Space {
 public:
  /// @param directory whose disk is asked.
  Space(Connections& connections, std::string directory)
      : connections_(connections), directory_(std::move(directory)) {}

  /// Sets the limits; without this call there are none. Call it before other threads use the store.
  void SetBounds(const Bounds& bounds) { bounds_ = bounds; }
  const Bounds& bounds() const { return bounds_; }
  /// Bytes on disk of a user, including everything written so far for open runs.
  absl::StatusOr<int64_t> BytesOf(const std::string& owner);
  absl::StatusOr<std::map<std::string, int64_t>> StoredBytes();  ///< by owner
  /// Free disk space in bytes for the account that runs the server; the largest int64_t if unknown.
  int64_t FreeDisk() const;
  /// RESOURCE_EXHAUSTED if the free disk space is below the reserve, so that new studies and kept states have to wait.
  absl::Status CheckReserve() const;

 private:
  Connections& connections_;
  const std::string directory_;
  Bounds bounds_;
};

// ---- inside a transaction

/// RESOURCE_EXHAUSTED if `more` runs would put a user over the limit of waiting and held runs.
absl::Status CheckRuns(Connection& connection, const Bounds& bounds, const std::string& user, int64_t more);

/// RESOURCE_EXHAUSTED if a user has more bytes on disk than the bounds allow, including this transaction so far.
absl::Status CheckBytes(Connection& connection, const Bounds& bounds, const std::string& user);

/// Adds the disk usage of new runs, or subtracts that of -runs removed ones; triggers in the database count everything
/// else.
absl::Status CountBytesOfRuns(Connection& connection, int64_t study, int64_t runs);

}  // namespace gyrebox::store
