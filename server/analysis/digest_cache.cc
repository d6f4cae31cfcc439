#include "analysis/digest_cache.h"

namespace gyrebox::analysis {

std::optional<RunDigest> DigestCache::Find(const Key& key) const {
  std::lock_guard lock(mutex_);
  const auto found = digests_.find(key);
  return found == digests_.end() ? std::nullopt : std::optional(found->second);
}

void DigestCache::Keep(const Key& key, const RunDigest& digest) {
  std::lock_guard lock(mutex_);
  if (digests_.size() >= kMostDigests) digests_.clear();
  digests_[key] = digest;
}

}  // namespace gyrebox::analysis
