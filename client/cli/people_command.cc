#include <algorithm>
#include <iostream>

#include "cli/commands.h"
#include "cli/text.h"
#include "cli/text_table.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

ExitCode AddPerson(const Session& session, const std::string& person, bool admin, int days) {
  v1::CreateTokenRequest request;
  request.set_person(person);
  request.set_role(admin ? v1::Token::ROLE_ADMIN : v1::Token::ROLE_MEMBER);
  request.set_lifetime_days(days);
  const auto made = Client(session.server).CreateToken(request);
  if (!made.ok()) return Report(session, made.status());
  std::cout << made->secret() << std::endl;
  std::cerr << schema::Visible(made->token().name() + " of " + made->token().person())
            << "; it cannot be shown again, so hand it on now by a safe way\n";
  return kDone;
}

static std::string StateText(const v1::Token& token) {
  if (token.state() == v1::Token::STATE_REVOKED) return "revoked " + TimeText(token.revoke_time());
  return token.state() == v1::Token::STATE_EXPIRED ? "expired" : "valid";
}

ExitCode ListPeople(const Session& session) {
  const auto all = Client(session.server).ListTokens();
  if (!all.ok()) return Report(session, all.status());
  if (session.json) {
    PrintJson(*all);
    return kDone;
  }
  std::vector<Row> rows = {{"person", "role", "token", "state", "made", "ends"}};
  for (const v1::Token& token : all->tokens()) {
    rows.push_back({token.person(), token.role() == v1::Token::ROLE_ADMIN ? "admin" : "member", token.name(),
                    StateText(token), TimeText(token.create_time()),
                    token.has_expire_time() ? TimeText(token.expire_time()) : "never"});
  }
  WriteAligned(std::cout, rows, std::vector<Align>(rows[0].size(), Align::kLeft));
  return kDone;
}

ExitCode RevokePerson(const Session& session, const std::string& who) {
  v1::RevokeTokensRequest request;
  const bool number = std::all_of(who.begin(), who.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
  if (number) {
    request.set_name("tokens/" + who);
  } else if (who.starts_with("tokens/")) {
    request.set_name(who);
  } else {
    request.set_person(who);
  }
  const auto revoked = Client(session.server).RevokeTokens(request);
  if (!revoked.ok()) return Report(session, revoked.status());
  for (const v1::Token& token : revoked->tokens()) {
    std::cerr << schema::Visible(token.name() + " of " + token.person()) << ": revoked\n";
  }
  return kDone;
}

}  // namespace gyrebox::client
