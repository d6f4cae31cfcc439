/// A server for a group: TLS, and users with every kind of token.
#pragma once

#include <google/protobuf/util/time_util.h>

#include <map>
#include <string>

#include "access/authenticator.h"
#include "access/secret.h"
#include "certificate.h"
#include "lib/client.h"
#include "store/rows.h"
#include "test_server.h"

namespace gyrebox::test {

class GroupServer {
 public:
  /// @param options their TLS settings are replaced.
  explicit GroupServer(api::ServerOptions options = Unhindered())
      : server_(std::make_shared<FakePlan>(), WithTls(std::move(options)),
                [this](store::Store& store) { Fill(store); }) {}

  /// Secrets of olga and max, members; anna, an admin; ed, whose token has expired; rita, whose token is revoked.
  const std::string& secret(const std::string& user) { return secrets_[user]; }
  client::Endpoint EndpointFor(const std::string& user) {
    return {server_.tcp_address(), tls_.certificate, secret(user)};
  }
  client::Client ClientFor(const std::string& user) { return client::Client(EndpointFor(user)); }
  TestServer& server() { return server_; }
  const std::string& certificate() const { return tls_.certificate; }

  /// A channel without a token.
  std::shared_ptr<grpc::Channel> Connect() const {
    grpc::SslCredentialsOptions options;
    options.pem_root_certs = tls_.certificate;
    return grpc::CreateChannel(server_.tcp_address(), grpc::SslCredentials(options));
  }

 private:
  api::ServerOptions WithTls(api::ServerOptions options) {
    options.tls = tls_;
    return options;
  }

  void Fill(store::Store& store) {
    if (!secrets_.empty()) return;
    const auto authenticator = access::Authenticator::Make(store, true);
    for (const char* user : {"olga", "max", "anna", "rita"}) {
      v1::CreateTokenRequest request;
      request.set_user(user);
      request.set_role(user == std::string("anna") ? v1::Token::ROLE_ADMIN : v1::Token::ROLE_MEMBER);
      secrets_[user] = (*authenticator)->CreateToken(request)->secret();
    }
    EXPECT_EQ(store.users().RevokeTokens(0, "rita")->size(), 1u);
    v1::Token expired;
    expired.set_user("ed");
    expired.set_role(v1::Token::ROLE_ADMIN);
    *expired.mutable_expire_time() =
        google::protobuf::util::TimeUtil::MillisecondsToTimestamp(store::NowMilliseconds() - 1);
    secrets_["ed"] = access::NewSecret();
    EXPECT_TRUE(store.users().AddToken(expired, access::HashOf(secrets_["ed"])).ok());
  }

  const access::TlsPair tls_ = MakeCertificate();
  std::map<std::string, std::string> secrets_;
  TestServer server_;
};

}  // namespace gyrebox::test
