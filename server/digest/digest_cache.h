/// Cache of digests of ended runs, so that repeated analyses do not read the series again.
#pragma once

#include <compare>
#include <cstdint>
#include <map>
#include <mutex>
#include <optional>
#include <string>

#include "digest/digest.h"

namespace gyrebox::analysis {

/// Thread-safe. Holds a bounded number of digests of 2 to 4 KiB each.
class DigestCache {
 public:
  /// A run and how it was summarized. A run extended after its end has more samples and so another key.
  struct Key {
    int64_t study = 0;
    int64_t number = 0;
    int64_t sample_count = 0;
    std::string observable;
    std::string measured_again;  ///< how its frames were measured again; empty for its series

    auto operator<=>(const Key&) const = default;
  };

  std::optional<RunDigest> Find(const Key& key) const;
  /// Drops all other digests if the cache is full.
  void Keep(const Key& key, const RunDigest& digest);
  /// Drops the digests of a study.
  void Forget(int64_t study);

 private:
  static constexpr size_t kMaxDigests = 50'000;

  mutable std::mutex mutex_;
  std::map<Key, RunDigest> digests_;  ///< guarded by mutex_
};

}  // namespace gyrebox::analysis
