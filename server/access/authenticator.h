/// Authenticates callers by their tokens.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "access/token_bucket.h"
#include "access/user.h"
#include "store/store.h"

namespace gyrebox::access {

/// Holds every token in memory, so that no call waits for the store to identify its caller. Thread-safe.
class Authenticator {
 public:
  /// Reads the tokens of a store. An authenticator that does not ask for tokens admits only users of this machine, with
  /// local_secret(). Both kinds admit callers on the Unix socket as the server's own user.
  static absl::StatusOr<std::unique_ptr<Authenticator>> Make(store::Store& store, bool asks_for_tokens);

  bool asks_for_tokens() const { return asks_; }
  /// New for each authenticator; empty if it asks for tokens.
  const std::string& local_secret() const { return local_secret_; }
  /// Whether any admin has a valid token now.
  bool HasAdmin();

  /// The caller of the method at this path; a user without name or role if the method is open to strangers.
  /// UNAUTHENTICATED, the same for every fault of a token; PERMISSION_DENIED if the role is insufficient; UNIMPLEMENTED
  /// for a path that is not in the list of required roles.
  /// @param peer as gRPC names it.
  absl::StatusOr<User> Admit(const std::string& path, const std::string& authorization, const std::string& peer);

  /// INVALID_ARGUMENT for a field out of its range.
  absl::StatusOr<v1::CreateTokenResponse> CreateToken(const v1::CreateTokenRequest& request);
  /// Oldest first.
  absl::StatusOr<std::vector<v1::Token>> ListTokens();
  /// Whether a study may be given to this user: INVALID_ARGUMENT for what is no name of a user; FAILED_PRECONDITION if
  /// the server asks for tokens and the user has no valid one.
  absl::Status CheckIsUser(const std::string& name);
  /// Returns the revoked tokens. NOT_FOUND if there is none to revoke; FAILED_PRECONDITION if no admin would be left.
  absl::StatusOr<std::vector<v1::Token>> RevokeTokens(const v1::RevokeTokensRequest& request);

 private:
  Authenticator(store::Store& store, bool asks);
  absl::Status Reload();
  /// Identifies the caller. UNAUTHENTICATED.
  absl::StatusOr<User> WhoSends(const std::string& authorization, const std::string& peer);
  absl::StatusOr<User> LocalWho(const std::string& secret);
  /// Whether an admin would still have a valid token if these were revoked.
  bool HasAdminWithout(const std::string& name, const std::string& user);
  /// Logs why a token was rejected, at a limited rate so that strangers cannot fill the log.
  void LogRefusalLocked(const std::string& why);

  store::Store& store_;
  const bool asks_;
  const std::string local_secret_;
  std::mutex change_mutex_;  ///< held while store and memory change together
  std::mutex mutex_;
  std::map<std::string, v1::Token> tokens_;  ///< by hash; guarded by mutex_
  TokenBucket log_lines_;                    ///< guarded by mutex_
};

}  // namespace gyrebox::access
