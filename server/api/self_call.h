/// The server calls itself as clients do, and ends if it no longer hears anyone.
#pragma once

#include <absl/status/status.h>

#include <cstdint>
#include <functional>
#include <string>

namespace gyrebox::api {

/// Consecutive calls that must fail before the server ends. Each has 10 s, so a machine that is merely slow has half a
/// minute to answer once.
inline constexpr int kMaxFailedSelfCalls = 3;

/// Calls the health service of the server at an address, over a connection of its own. UNAVAILABLE, DEADLINE_EXCEEDED,
/// ...
/// @param tls whether to use TLS; any certificate is accepted.
absl::Status CallHealth(const std::string& address, bool tls);

/// Counts failed calls.
class SelfCall {
 public:
  /// @param call makes one call. @param turned_away number of connections that the server has turned away so far: it
  /// hears the ones that it turns away, so a call that fails meanwhile does not count. @param give_up called at the
  /// last failure.
  SelfCall(std::function<absl::Status()> call, std::function<int64_t()> turned_away, std::function<void()> give_up)
      : call_(std::move(call)), turned_away_(std::move(turned_away)), give_up_(std::move(give_up)) {}

  /// Makes one call.
  void Call();

 private:
  const std::function<absl::Status()> call_;
  const std::function<int64_t()> turned_away_;
  const std::function<void()> give_up_;
  int failed_ = 0;
};

}  // namespace gyrebox::api
