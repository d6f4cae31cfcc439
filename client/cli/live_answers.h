/// What a study answers so far, while its runs end.
#pragma once

#include <chrono>
#include <future>
#include <string>
#include <vector>

#include "lib/client.h"

namespace gyrebox::client {

/// The answers that are told first, in words: what they rest on, then a line for each question.
std::vector<std::string> LeadingAnswers(const v1::Answers& answers);

/// The leading answers of a study, asked for anew as its runs end, but seldom: whoever watches must not slow the server
/// down. It asks beside the caller, who meanwhile reads on.
class LiveAnswers {
 public:
  explicit LiveAnswers(Client& client) : client_(client) {}

  /// Asks again where more runs have ended and some time has gone by.
  void Follow(const v1::Study& study);

  /// Asks again where more runs have ended, and waits for the answers.
  void Finish(const v1::Study& study);

  /// Empty where there is no answer yet.
  const std::vector<std::string>& lines() const { return lines_; }

 private:
  using Clock = std::chrono::steady_clock;

  void Ask(const v1::Study& study);
  void Take();

  Client& client_;
  std::vector<std::string> lines_;
  std::future<absl::StatusOr<v1::Answers>> asked_;
  int finished_ = 0;           ///< runs that had finished when it was asked last
  Clock::time_point begin_{};  ///< when that was
  Clock::time_point next_{};   ///< not asked again before
};

}  // namespace gyrebox::client
