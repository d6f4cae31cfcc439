/// Deletion of studies, at once by a user, or later by the rules of retention.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "store/connections.h"
#include "store/state_directory.h"

namespace gyrebox::store {

/// A study that may be deleted by the retention rules.
struct Deletable {
  int64_t study = 0;
  std::string owner;
  int64_t end_time = 0;       ///< milliseconds since 1970
  int64_t bytes = 0;          ///< on disk
  int64_t delete_time = 0;    ///< announced to users, milliseconds since 1970; 0 if not announced
  double warned_seconds = 0;  ///< server uptime since the warning
};

/// All studies that may be deleted, in the order in which they ended.
struct DeletableStudies {
  std::vector<Deletable> studies;
  int64_t all_bytes = 0;     ///< of all studies, deletable or not
  int64_t warned_count = 0;  ///< studies with a warning, including any that are no longer deletable
};

/// Warning to users that a study will be deleted.
struct Warning {
  int64_t study = 0;
  int64_t delete_time = 0;  ///< milliseconds since 1970
  std::string reason;
};

class Deletion {
 public:
  Deletion(Connections& connections, const StateDirectory& files) : connections_(connections), files_(files) {}

  /// Marks a study as deleted, which hides it; EraseSome() removes its data. FAILED_PRECONDITION while runs are open.
  /// ABORTED if anything in the study changed since the etag, if one is given.
  absl::Status Delete(int64_t id, const std::string& etag);
  /// Does the same if the warning of the study has stood for this many seconds; FAILED_PRECONDITION if not.
  absl::Status DeleteDue(int64_t id, double warned_seconds);
  /// Erases part of a deleted study in one short transaction. False if nothing is left to erase.
  absl::StatusOr<bool> EraseSome();
  /// Erases all studies marked as deleted. For the opening of the store.
  absl::Status EraseAll();

  // ---- retention (retention.cc)

  absl::StatusOr<DeletableStudies> ListDeletable();
  /// Replaces the set of warnings. Adds `seconds_run` of server uptime to those that stood before.
  absl::Status SetWarnings(std::span<const Warning> warnings, double seconds_run);

 private:
  Connections& connections_;
  const StateDirectory& files_;
};

}  // namespace gyrebox::store
