/// Users: their tokens, and their use of devices. The store keeps only the hash of each token.
#pragma once

#include <absl/status/status.h>
#include <absl/status/statusor.h>

#include <cstdint>
#include <map>
#include <string>
#include <vector>

#include "gyrebox/v1/user_service.pb.h"
#include "store/connections.h"

namespace gyrebox::store {

/// A token as stored.
struct StoredToken {
  v1::Token token;
  std::string hash;  ///< of its secret
};

/// Device time used by a user; see queue::Ledger.
struct UserUse {
  double seconds = 0;
  int64_t as_of = 0;  ///< milliseconds since 1970
};

class Users {
 public:
  explicit Users(Connections& connections) : connections_(connections) {}

  /// Stores a new token. @return the token with its name.
  absl::StatusOr<v1::Token> AddToken(const v1::Token& token, const std::string& hash);
  /// All tokens, oldest first.
  absl::StatusOr<std::vector<StoredToken>> ListTokens();
  /// Revokes the token with this number and all tokens of this user; 0 and "" match none. @return the tokens that were
  /// not yet revoked.
  absl::StatusOr<std::vector<v1::Token>> RevokeTokens(int64_t number, const std::string& user);

  absl::StatusOr<std::map<std::string, UserUse>> ReadUse();
  absl::Status WriteUse(const std::map<std::string, UserUse>& use);

 private:
  Connections& connections_;
};

}  // namespace gyrebox::store
