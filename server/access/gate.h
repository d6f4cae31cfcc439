/// Who comes in: the tokens of a server and what they open.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "access/person.h"
#include "access/token_bucket.h"
#include "store/store.h"

namespace gyrebox::access {

/// Holds every token in memory, so that no call waits for the store to know who makes it. Thread-safe.
class Gate {
 public:
  /// Reads the tokens of a store. A gate that asks for none takes everyone for Local().
  static absl::StatusOr<std::unique_ptr<Gate>> Make(store::Store& store, bool asks_for_tokens);

  bool asks_for_tokens() const { return asks_; }
  /// Whether some admin could come in now.
  bool HasAdmin();

  /// Who calls the method on this path; a person without name or role where the method is open to strangers.
  /// UNAUTHENTICATED, the same for whatever is wrong with the token; PERMISSION_DENIED where the role does not do;
  /// UNIMPLEMENTED for a path that is not in the list of needs.
  absl::StatusOr<Person> Admit(const std::string& path, const std::string& authorization);

  /// INVALID_ARGUMENT for a field out of its range.
  absl::StatusOr<v1::CreateTokenResponse> CreateToken(const v1::CreateTokenRequest& request);
  /// Oldest first.
  absl::StatusOr<std::vector<v1::Token>> ListTokens();
  /// Those that it revoked. NOT_FOUND where there is none to revoke.
  absl::StatusOr<std::vector<v1::Token>> RevokeTokens(const v1::RevokeTokensRequest& request);

 private:
  Gate(store::Store& store, bool asks);
  absl::Status Reload();
  /// Who sends this. UNAUTHENTICATED.
  absl::StatusOr<Person> WhoSends(const std::string& authorization);
  /// Tells the log why a token was not taken; strangers cannot fill it.
  void LogRefusalLocked(const std::string& why);

  store::Store& store_;
  const bool asks_;
  std::mutex change_mutex_;  ///< held while the store and what is in memory change together
  std::mutex mutex_;
  std::map<std::string, v1::Token> tokens_;  ///< by hash; guarded by mutex_
  TokenBucket log_lines_;                    ///< guarded by mutex_
};

}  // namespace gyrebox::access
