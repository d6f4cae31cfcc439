/// Cancels work that nobody waits for any more.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <utility>

namespace gyrebox::study {

/// Polled in every loop that may take long, between points, runs or answers. Once asked() returns true it keeps doing
/// so, and the loop stops with a partial result. The function that passed the Stop polls it again and discards that
/// result.
class Stop {
 public:
  Stop() = default;  ///< never
  explicit Stop(std::function<bool()> asked) : asked_(std::move(asked)) {}

  bool asked() const { return asked_ != nullptr && asked_(); }

 private:
  std::function<bool()> asked_;
};

/// Status of a call whose work was cancelled. A caller that left before the deadline never reads it.
inline absl::Status Stopped() { return absl::DeadlineExceededError("the deadline of the call has passed"); }

}  // namespace gyrebox::study
