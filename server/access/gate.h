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
  /// Reads the tokens of a store. A gate that does not ask for them lets in this machine's own people alone, with
  /// local_secret(). Whoever comes by the Unix socket is the user of the server, and is let in by both.
  static absl::StatusOr<std::unique_ptr<Gate>> Make(store::Store& store, bool asks_for_tokens);

  bool asks_for_tokens() const { return asks_; }
  /// Made anew with each gate; empty where it asks for tokens.
  const std::string& local_secret() const { return local_secret_; }
  /// Whether some admin could come in now.
  bool HasAdmin();

  /// Who calls the method on this path; a person without name or role where the method is open to strangers.
  /// UNAUTHENTICATED, the same for whatever is wrong with the token; PERMISSION_DENIED where the role does not do;
  /// UNIMPLEMENTED for a path that is not in the list of needs.
  /// @param peer as gRPC names it.
  absl::StatusOr<Person> Admit(const std::string& path, const std::string& authorization, const std::string& peer);

  /// INVALID_ARGUMENT for a field out of its range.
  absl::StatusOr<v1::CreateTokenResponse> CreateToken(const v1::CreateTokenRequest& request);
  /// Oldest first.
  absl::StatusOr<std::vector<v1::Token>> ListTokens();
  /// Those that it revoked. NOT_FOUND where there is none to revoke; FAILED_PRECONDITION where no admin would be left.
  absl::StatusOr<std::vector<v1::Token>> RevokeTokens(const v1::RevokeTokensRequest& request);

 private:
  Gate(store::Store& store, bool asks);
  absl::Status Reload();
  /// Who sends this. UNAUTHENTICATED.
  absl::StatusOr<Person> WhoSends(const std::string& authorization, const std::string& peer);
  absl::StatusOr<Person> LocalWho(const std::string& secret);
  /// Whether some admin could come in if these were revoked.
  bool HasAdminWithout(const std::string& name, const std::string& person);
  /// Tells the log why a token was not taken; strangers cannot fill it.
  void LogRefusalLocked(const std::string& why);

  store::Store& store_;
  const bool asks_;
  const std::string local_secret_;
  std::mutex change_mutex_;  ///< held while the store and what is in memory change together
  std::mutex mutex_;
  std::map<std::string, v1::Token> tokens_;  ///< by hash; guarded by mutex_
  TokenBucket log_lines_;                    ///< guarded by mutex_
};

}  // namespace gyrebox::access
