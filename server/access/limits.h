/// Limits on what one user may take of the server.
#pragma once

#include <atomic>
#include <map>
#include <memory>
#include <mutex>
#include <string>

#include "access/token_bucket.h"

namespace gyrebox::access {

struct LimitOptions {
  int message_bytes = 1024 * 1024;   ///< per request
  double requests_per_second = 100;  ///< per user, sustained; twice as many at once
  int streams = 50;                  ///< per user, open at the same time
  int slow_calls = 4;                ///< per user, in progress or waiting: checks, new studies, analyses, tables
  int steering_calls = 16;           ///< the same for calls that steer
};

/// Thread-safe.
class Limits {
 public:
  explicit Limits(const LimitOptions& options) : options_(options) {}

  /// Counts a request. Returns 0 if it may proceed, else the seconds until the user may call again.
  double Request(const std::string& user, TokenBucket::Clock::time_point now = TokenBucket::Clock::now());

  /// A slot for one more stream, released with the last copy; null if the user has as many as allowed.
  std::shared_ptr<const void> Stream(const std::string& user);

  const LimitOptions& options() const { return options_; }

 private:
  const LimitOptions options_;
  std::mutex mutex_;
  std::map<std::string, TokenBucket> requests_;                       ///< guarded by mutex_
  std::map<std::string, std::shared_ptr<std::atomic<int>>> streams_;  ///< open ones; guarded by mutex_
};

}  // namespace gyrebox::access
