/// How much of the server one person may take.
#pragma once

#include <atomic>
#include <map>
#include <memory>
#include <mutex>
#include <string>

#include "access/token_bucket.h"

namespace gyrebox::access {

struct LimitOptions {
  int message_bytes = 1024 * 1024;   ///< of one request
  double requests_per_second = 100;  ///< of one person in the long run; twice as many at once
  int streams = 50;                  ///< of one person, open at the same time
  int slow_calls = 4;                ///< of one person, under way or waiting: checks, new studies, analyses, tables
  int steering_calls = 16;           ///< the same of calls that steer
};

/// Thread-safe.
class Limits {
 public:
  explicit Limits(const LimitOptions& options) : options_(options) {}

  /// Counts a request. 0 where it may go on, else the seconds until the person may ask again.
  double Request(const std::string& person, TokenBucket::Clock::time_point now = TokenBucket::Clock::now());

  /// A place for one more stream, given back when the last copy goes; null where the person has as many as allowed.
  std::shared_ptr<const void> Stream(const std::string& person);

  const LimitOptions& options() const { return options_; }

 private:
  const LimitOptions options_;
  std::mutex mutex_;
  std::map<std::string, TokenBucket> requests_;                       ///< guarded by mutex_
  std::map<std::string, std::shared_ptr<std::atomic<int>>> streams_;  ///< open ones; guarded by mutex_
};

}  // namespace gyrebox::access
