/// The server calls itself as others do, so that one that hears nobody any more does not stay.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <functional>
#include <string>

namespace gyrebox::api {

/// Calls in a row that must fail before the server ends. Each has 10 s, so a machine that is merely slow has half a
/// minute to answer once.
inline constexpr int kMostFailedSelfCalls = 3;

/// Asks the server at an address for its health, over a connection of its own. UNAVAILABLE, DEADLINE_EXCEEDED, ...
/// @param tls whether to use TLS; whose certificate it is does not matter here.
absl::Status CallHealth(const std::string& address, bool tls);

/// Counts calls that fail.
class SelfCall {
 public:
  /// @param call one call. @param turned_away how many connections the server has turned away so far: it hears those
  /// that it turns away, so a call that fails meanwhile does not count. @param give_up called at the last failure.
  SelfCall(std::function<absl::Status()> call, std::function<int64_t()> turned_away, std::function<void()> give_up)
      : call_(std::move(call)), turned_away_(std::move(turned_away)), give_up_(std::move(give_up)) {}

  /// Calls once.
  void Call();

 private:
  const std::function<absl::Status()> call_;
  const std::function<int64_t()> turned_away_;
  const std::function<void()> give_up_;
  int failed_ = 0;
};

}  // namespace gyrebox::api
