/// Ends work that nobody waits for any more.
#pragma once

#include <absl/status/status.h>

#include <functional>
#include <utility>

namespace gyrebox::study {

/// Asked in every loop that may take long, between two points, runs or answers. Once it says so it does for good, and
/// the loop breaks off with whatever it has: who gave the stop asks it again and throws that away.
class Stop {
 public:
  Stop() = default;  ///< never
  explicit Stop(std::function<bool()> asked) : asked_(std::move(asked)) {}

  bool asked() const { return asked_ != nullptr && asked_(); }

 private:
  std::function<bool()> asked_;
};

/// What a call comes to whose work was broken off. Whoever went away before the deadline does not read it.
inline absl::Status Stopped() { return absl::DeadlineExceededError("the deadline of the call has passed"); }

}  // namespace gyrebox::study
