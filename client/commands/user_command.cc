#include <algorithm>
#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

static ExitCode AddUser(const Session& session, const std::string& user, bool admin, int days) {
  v1::CreateTokenRequest request;
  request.set_user(user);
  request.set_role(admin ? v1::Token::ROLE_ADMIN : v1::Token::ROLE_MEMBER);
  request.set_lifetime_days(days);
  const auto made = Client(session.server).CreateToken(request);
  if (!made.ok()) return Report(session, made.status());
  std::cout << made->secret() << std::endl;
  std::cerr << schema::Visible(made->token().name() + " of " + made->token().user())
            << "; it cannot be shown again, so hand it over now through a secure channel\n";
  return kDone;
}

static std::string StateText(const v1::Token& token) {
  if (token.state() == v1::Token::STATE_REVOKED) return "revoked " + TimeText(token.revoke_time());
  return token.state() == v1::Token::STATE_EXPIRED ? "expired" : "valid";
}

static ExitCode ListUsers(const Session& session) {
  const auto all = Client(session.server).ListTokens();
  if (!all.ok()) return Report(session, all.status());
  if (session.json) {
    PrintJson(*all);
    return kDone;
  }
  std::vector<Row> rows = {{"user", "role", "token", "state", "created", "expires"}};
  for (const v1::Token& token : all->tokens()) {
    rows.push_back({token.user(), token.role() == v1::Token::ROLE_ADMIN ? "admin" : "member", token.name(),
                    StateText(token), TimeText(token.create_time()),
                    token.has_expire_time() ? TimeText(token.expire_time()) : "never"});
  }
  WriteAligned(std::cout, rows, std::vector<Align>(rows[0].size(), Align::kLeft));
  return kDone;
}

static ExitCode RevokeUser(const Session& session, const std::string& who) {
  v1::RevokeTokensRequest request;
  const bool number = std::all_of(who.begin(), who.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
  if (number) {
    request.set_name("tokens/" + who);
  } else if (who.starts_with("tokens/")) {
    request.set_name(who);
  } else {
    request.set_user(who);
  }
  const auto revoked = Client(session.server).RevokeTokens(request);
  if (!revoked.ok()) return Report(session, revoked.status());
  for (const v1::Token& token : revoked->tokens()) {
    std::cerr << schema::Visible(token.name() + " of " + token.user()) << ": revoked\n";
  }
  return kDone;
}

void RegisterUserCommands(Registry& registry) {
  struct Options {
    std::string name;
    bool admin = false;
    int days = 0;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* users = registry.AddGroup("users", "Manage who may call the server; for its admins");
  CLI::App* add = registry.Add(
      "add", "Create a token for a user; prints only the token, once",
      [o](const Session& session) { return AddUser(session, o->name, o->admin, o->days); }, users);
  add->add_option("NAME", o->name, "User of the token")->required();
  add->add_flag("--admin", o->admin, "May change everyone's studies, and create and revoke tokens");
  add->add_option("--days", o->days, "Days after which it expires; default: never")->check(CLI::Range(1, 3650));
  registry.AddWithJson("list", "List all tokens", ListUsers, users);
  registry
      .Add(
          "revoke", "Revoke a token, or all tokens of a user, at once",
          [o](const Session& session) { return RevokeUser(session, o->name); }, users)
      ->add_option("WHO", o->name, "A user, or a token such as tokens/3 or 3")
      ->required();
}

}  // namespace gyrebox::client
