#include "access/authenticator.h"

#include <absl/strings/ascii.h>
#include <google/protobuf/util/time_util.h>
#include <spdlog/spdlog.h>

#include <algorithm>

#include "access/peer.h"
#include "access/required_roles.h"
#include "access/secret.h"
#include "store/names.h"
#include "store/rows.h"
#include "study/return_if_error.h"

namespace gyrebox::access {

using google::protobuf::util::TimeUtil;

constexpr size_t kLongestName = 64;
constexpr int kMaxDays = 3650;
constexpr int64_t kMillisecondsPerDay = 24 * 3600 * 1000;
constexpr double kLogLinesPerSecond = 1;
constexpr double kLogLinesAtOnce = 20;

static v1::Token::State StateOf(const v1::Token& token) {
  if (token.has_revoke_time()) return v1::Token::STATE_REVOKED;
  const bool expired =
      token.has_expire_time() && TimeUtil::TimestampToMilliseconds(token.expire_time()) <= store::NowMilliseconds();
  return expired ? v1::Token::STATE_EXPIRED : v1::Token::STATE_VALID;
}

static v1::Token WithState(v1::Token token) {
  token.set_state(StateOf(token));
  return token;
}

/// One text for all faults, so that a stranger learns nothing about existing tokens.
static absl::Status NoValidToken() {
  return absl::UnauthenticatedError("this call needs a valid token; ask an admin of the server for one");
}

Authenticator::Authenticator(store::Store& store, bool asks)
    : store_(store),
      asks_(asks),
      local_secret_(asks ? "" : NewSecret()),
      log_lines_(kLogLinesPerSecond, kLogLinesAtOnce, TokenBucket::Clock::now()) {}

absl::StatusOr<std::unique_ptr<Authenticator>> Authenticator::Make(store::Store& store, bool asks_for_tokens) {
  std::unique_ptr<Authenticator> authenticator(new Authenticator(store, asks_for_tokens));
  GYREBOX_RETURN_IF_ERROR(authenticator->Reload());
  return authenticator;
}

absl::Status Authenticator::Reload() {
  auto stored = store_.users().ListTokens();
  if (!stored.ok()) return stored.status();
  std::map<std::string, v1::Token> tokens;
  for (store::StoredToken& one : *stored) tokens.emplace(std::move(one.hash), std::move(one.token));
  std::lock_guard lock(mutex_);
  tokens_ = std::move(tokens);
  return absl::OkStatus();
}

bool Authenticator::HasAdmin() { return HasAdminWithout("", ""); }

bool Authenticator::HasAdminWithout(const std::string& name, const std::string& user) {
  std::lock_guard lock(mutex_);
  return std::any_of(tokens_.begin(), tokens_.end(), [&](const auto& entry) {
    const v1::Token& token = entry.second;
    return token.role() == v1::Token::ROLE_ADMIN && StateOf(token) == v1::Token::STATE_VALID && token.name() != name &&
           token.user() != user;
  });
}

void Authenticator::LogRefusalLocked(const std::string& why) {
  if (log_lines_.Take(TokenBucket::Clock::now()) == 0) spdlog::warn("a call was refused: {}", why);
}

/// Caller of a server that asks for no tokens. Other accounts of the machine do not know the secret.
absl::StatusOr<User> Authenticator::LocalWho(const std::string& secret) {
  if (HashOf(secret) == HashOf(local_secret_)) return Local();
  std::lock_guard lock(mutex_);
  LogRefusalLocked("it did not bring the token of this start");
  return absl::UnauthenticatedError(
      "this server is for the user who runs it; others need one with TLS, and a token of their own");
}

absl::StatusOr<User> Authenticator::WhoSends(const std::string& authorization, const std::string& peer) {
  if (IsUnix(peer)) return Local();
  const std::string secret = SecretIn(authorization);
  if (!asks_) return LocalWho(secret);
  const std::string hash = HashOf(secret);
  std::lock_guard lock(mutex_);
  const auto found = tokens_.find(hash);
  if (secret.empty() || found == tokens_.end()) {
    LogRefusalLocked(secret.empty() ? "it brought no token" : "there is no such token");
    return NoValidToken();
  }
  const v1::Token& token = found->second;
  if (const auto state = StateOf(token); state != v1::Token::STATE_VALID) {
    LogRefusalLocked(token.name() + " of " + token.user() + " is " +
                     (state == v1::Token::STATE_REVOKED ? "revoked" : "expired"));
    return NoValidToken();
  }
  return User{token.user(), token.role()};
}

absl::StatusOr<User> Authenticator::Admit(const std::string& path, const std::string& authorization,
                                          const std::string& peer) {
  const RequiredRole need = RequiredRoleOf(path);
  if (need == RequiredRole::kNothing) return User{};
  auto user = WhoSends(authorization, peer);
  if (!user.ok()) return user;
  if (need == RequiredRole::kRefused) return absl::UnimplementedError("this server has no such method");
  if (need == RequiredRole::kAdmin && user->role != v1::Token::ROLE_ADMIN) {
    return absl::PermissionDeniedError("only an admin may do this");
  }
  return user;
}

static bool IsUserName(const std::string& name) {
  return !name.empty() && name.size() <= kLongestName && name != store::kLocalUser && absl::ascii_isalpha(name[0]) &&
         std::all_of(name.begin(), name.end(),
                     [](unsigned char c) { return absl::ascii_isalnum(c) || c == '.' || c == '-' || c == '_'; });
}

static absl::Status Check(const v1::CreateTokenRequest& request) {
  if (!IsUserName(request.user())) {
    return absl::InvalidArgumentError("user is not a letter followed by up to 63 letters, digits, dots, - or _, " +
                                      std::string("or it is \"local\", which stands for this machine's own users"));
  }
  if (request.role() != v1::Token::ROLE_UNSPECIFIED && request.role() != v1::Token::ROLE_MEMBER &&
      request.role() != v1::Token::ROLE_ADMIN) {
    return absl::InvalidArgumentError("role is not known; ROLE_MEMBER or ROLE_ADMIN");
  }
  if (request.lifetime_days() < 0 || request.lifetime_days() > kMaxDays) {
    return absl::InvalidArgumentError("lifetime_days is not from 1 to " + std::to_string(kMaxDays) +
                                      ", or 0 for a token that does not end by itself");
  }
  return absl::OkStatus();
}

absl::StatusOr<v1::CreateTokenResponse> Authenticator::CreateToken(const v1::CreateTokenRequest& request) {
  GYREBOX_RETURN_IF_ERROR(Check(request));
  v1::Token token;
  const int64_t now = store::NowMilliseconds();
  token.set_user(request.user());
  token.set_role(request.role() == v1::Token::ROLE_ADMIN ? v1::Token::ROLE_ADMIN : v1::Token::ROLE_MEMBER);
  *token.mutable_create_time() = TimeUtil::MillisecondsToTimestamp(now);
  if (request.lifetime_days() > 0) {
    *token.mutable_expire_time() =
        TimeUtil::MillisecondsToTimestamp(now + request.lifetime_days() * kMillisecondsPerDay);
  }
  v1::CreateTokenResponse response;
  response.set_secret(NewSecret());
  std::lock_guard lock(change_mutex_);
  auto stored = store_.users().AddToken(token, HashOf(response.secret()));
  if (!stored.ok()) return stored.status();
  *response.mutable_token() = WithState(*std::move(stored));
  GYREBOX_RETURN_IF_ERROR(Reload());
  return response;
}

absl::StatusOr<std::vector<v1::Token>> Authenticator::ListTokens() {
  const auto stored = store_.users().ListTokens();
  if (!stored.ok()) return stored.status();
  std::vector<v1::Token> tokens;
  for (const store::StoredToken& one : *stored) tokens.push_back(WithState(one.token));
  return tokens;
}

absl::Status Authenticator::CheckIsUser(const std::string& name) {
  const bool local = name == store::kLocalUser && !asks_;
  if (!local && !IsUserName(name)) {
    return absl::InvalidArgumentError("owner is not a letter followed by up to 63 letters, digits, dots, - or _");
  }
  if (!asks_) return absl::OkStatus();
  std::lock_guard lock(mutex_);
  const bool known = std::any_of(tokens_.begin(), tokens_.end(), [&](const auto& entry) {
    return entry.second.user() == name && StateOf(entry.second) == v1::Token::STATE_VALID;
  });
  if (known) return absl::OkStatus();
  return absl::FailedPreconditionError(name + " has no valid token on this server; an admin lets users in with " +
                                       "gyrebox users add");
}

absl::StatusOr<std::vector<v1::Token>> Authenticator::RevokeTokens(const v1::RevokeTokensRequest& request) {
  if (request.name().empty() && request.user().empty()) {
    return absl::InvalidArgumentError("neither name nor user is given; give one of them");
  }
  int64_t number = 0;
  if (request.has_name()) {
    const auto parsed = store::ParseTokenName(request.name());
    if (!parsed.ok()) return parsed.status();
    number = *parsed;
  }
  std::lock_guard lock(change_mutex_);
  if (HasAdmin() && !HasAdminWithout(request.name(), request.user())) {
    return absl::FailedPreconditionError("no admin with a valid token would be left; let in another admin first");
  }
  auto revoked = store_.users().RevokeTokens(number, request.user());
  if (!revoked.ok()) return revoked.status();
  GYREBOX_RETURN_IF_ERROR(Reload());
  for (v1::Token& token : *revoked) token = WithState(std::move(token));
  if (!revoked->empty()) return revoked;
  const std::string& which = request.has_name() ? request.name() : request.user();
  return absl::NotFoundError("there is no token to revoke: " + which + " is not there, or revoked already");
}

}  // namespace gyrebox::access
