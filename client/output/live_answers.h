/// Answers of a study so far, while its runs end.
#pragma once

#include <chrono>
#include <future>
#include <string>
#include <vector>

#include "lib/client.h"

namespace gyrebox::client {

/// Summaries of the leading answers: the number of runs behind them, then one line per question.
std::vector<std::string> LeadingAnswers(const v1::Answers& answers);

/// The leading answers of a study, updated as its runs end. Requests are rare, so that watching does not slow the
/// server down, and run in a thread of their own, so that the caller keeps reading.
class LiveAnswers {
 public:
  explicit LiveAnswers(Client& client) : client_(client) {}

  /// Requests the answers again if more runs have finished and some time has passed.
  void Follow(const v1::Study& study);

  /// Requests the answers again if more runs have finished, and waits for them.
  void Finish(const v1::Study& study);

  /// Empty if there is no answer yet.
  const std::vector<std::string>& lines() const { return lines_; }

 private:
  using Clock = std::chrono::steady_clock;

  void Ask(const v1::Study& study);
  void Take();

  Client& client_;
  std::vector<std::string> lines_;
  std::future<absl::StatusOr<v1::Answers>> asked_;
  int finished_ = 0;           ///< finished runs at the last request
  Clock::time_point begin_{};  ///< time of the last request
  Clock::time_point next_{};   ///< earliest time of the next request
};

}  // namespace gyrebox::client
