// Tokens, and use of devices.
#include "store/users.h"

#include <google/protobuf/util/time_util.h>

#include "store/rows.h"
#include "store/sql/users.h"

namespace gyrebox::store {

using google::protobuf::util::TimeUtil;

static v1::Token ToToken(const Statement& row) {
  v1::Token token;
  token.set_name("tokens/" + std::to_string(row.Int(0)));
  token.set_user(row.Text(1));
  token.set_role(static_cast<v1::Token::Role>(row.Int(2)));
  *token.mutable_create_time() = TimeUtil::MillisecondsToTimestamp(row.Int(3));
  if (!row.IsNull(4)) *token.mutable_expire_time() = TimeUtil::MillisecondsToTimestamp(row.Int(4));
  if (!row.IsNull(5)) *token.mutable_revoke_time() = TimeUtil::MillisecondsToTimestamp(row.Int(5));
  return token;
}

absl::StatusOr<v1::Token> Users::AddToken(const v1::Token& token, const std::string& hash) {
  v1::Token stored;
  const auto status = connections_.Write([&](Connection& connection) {
    Statement insert = connection.Prepare(sql::kInsertToken);
    insert.BindAt(1, token.user());
    insert.BindAt(2, static_cast<int64_t>(token.role()));
    insert.BindAt(3, TimeUtil::TimestampToMilliseconds(token.create_time()));
    if (token.has_expire_time()) insert.BindAt(4, TimeUtil::TimestampToMilliseconds(token.expire_time()));
    insert.BindAt(5, Statement::AsBlob(hash));
    while (insert.Next()) stored = ToToken(insert);
    return insert.status();
  });
  if (!status.ok()) return status;
  return stored;
}

absl::StatusOr<std::vector<StoredToken>> Users::ListTokens() {
  std::vector<StoredToken> tokens;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectTokens);
    while (rows.Next()) tokens.push_back({ToToken(rows), rows.Text(6)});
    return rows.status();
  });
  if (!status.ok()) return status;
  return tokens;
}

absl::StatusOr<std::vector<v1::Token>> Users::RevokeTokens(int64_t number, const std::string& user) {
  std::vector<v1::Token> revoked;
  const auto status = connections_.Write([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kRevokeTokens);
    rows.Bind(NowMilliseconds(), number, user);
    while (rows.Next()) revoked.push_back(ToToken(rows));
    return rows.status();
  });
  if (!status.ok()) return status;
  return revoked;
}

absl::StatusOr<std::map<std::string, UserUse>> Users::ReadUse() {
  std::map<std::string, UserUse> use;
  const auto status = connections_.Read([&](Connection& connection) {
    Statement rows = connection.Prepare(sql::kSelectUsers);
    while (rows.Next()) use[rows.Text(0)] = {rows.Real(1), rows.Int(2)};
    return rows.status();
  });
  if (!status.ok()) return status;
  return use;
}

absl::Status Users::WriteUse(const std::map<std::string, UserUse>& use) {
  return connections_.Write([&](Connection& connection) {
    absl::Status status;
    for (const auto& [name, used] : use) {
      status.Update(connection.Prepare(sql::kWriteUser).Bind(name, used.seconds, used.as_of).Run());
    }
    return status;
  });
}

}  // namespace gyrebox::store
