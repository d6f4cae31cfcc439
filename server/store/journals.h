/// Journals of runs, and the consequences of their entries.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <atomic>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "store/connections.h"
#include "store/requests.h"

namespace gyrebox::store {

/// An adjustment to a run that is not on the device, or that the device applies afterwards.
struct JournalWrite {
  int64_t number = 0;     ///< of the run
  v1::Adjustment entry;   ///< without its number
  v1::Run::State before;  ///< state of the run before the entry
};

class Journals {
 public:
  explicit Journals(Connections& connections) : connections_(connections) {}

  /// The journal of a run, oldest first. @param above returns only entries with larger numbers.
  absl::StatusOr<std::vector<v1::Adjustment>> Get(int64_t study, int64_t number, int64_t above = 0);
  /// Visits the journals of runs `first` to `last`, in order.
  absl::Status Visit(int64_t study, int64_t first, int64_t last,
                     const std::function<void(int64_t number, const v1::Adjustment&)>& visit);
  /// Journal entries that a call made.
  absl::StatusOr<std::vector<v1::Adjustment>> GetEntries(const Made& made);
  /// Atomically writes one entry per run and its consequences: the state and the end of the run.
  /// @param request that the entries belong to; results of several calls add up. ALREADY_EXISTS if its id belongs to a
  ///        different request.
  absl::Status Write(int64_t study, std::span<const JournalWrite> writes, const Request& request = {});
  /// Number of entries read since the store was opened; for tests.
  int64_t entries_read() const { return entries_read_; }

 private:
  Connections& connections_;
  std::atomic<int64_t> entries_read_ = 0;
};

// ---- inside a transaction

/// Appends an entry to a run's journal. @return its number, the new length of the journal.
absl::StatusOr<int64_t> WriteEntry(Connection& connection, int64_t study, int64_t number, const v1::Adjustment& entry);

}  // namespace gyrebox::store
