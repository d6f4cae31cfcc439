#include "digest/digest_cache.h"

namespace gyrebox::analysis {

std::optional<RunDigest> DigestCache::Find(const Key& key) const {
  std::lock_guard lock(mutex_);
  const auto found = digests_.find(key);
  return found == digests_.end() ? std::nullopt : std::optional(found->second);
}

void DigestCache::Keep(const Key& key, const RunDigest& digest) {
  std::lock_guard lock(mutex_);
  if (digests_.size() >= kMaxDigests) digests_.clear();
  digests_[key] = digest;
}

void DigestCache::Forget(int64_t study) {
  std::lock_guard lock(mutex_);
  std::erase_if(digests_, [&](const auto& entry) { return entry.first.study == study; });
}

}  // namespace gyrebox::analysis
