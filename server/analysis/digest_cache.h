/// Digests of runs that have ended, so that a study which is asked again is not read again.
#pragma once

#include <compare>
#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>

#include "analysis/digest.h"

namespace gyrebox::analysis {

/// Thread-safe. Holds a bounded number of digests, each of which takes 1 to 3 KiB.
class DigestCache {
 public:
  /// A run and what was asked of it. One that goes on after it had ended has more samples, and is another.
  struct Key {
    int64_t study = 0;
    int64_t number = 0;
    int64_t sample_count = 0;
    std::string observable;
    std::string measured_again;  ///< how its frames were; empty for its series

    auto operator<=>(const Key&) const = default;
  };

  std::optional<RunDigest> Find(const Key& key) const;
  /// Forgets all others where there are too many.
  void Keep(const Key& key, const RunDigest& digest);
  /// Forgets the runs of a study.
  void Forget(int64_t study);

 private:
  static constexpr size_t kMostDigests = 50'000;

  mutable std::mutex mutex_;
  std::map<Key, RunDigest> digests_;  ///< guarded by mutex_
};

}  // namespace gyrebox::analysis
