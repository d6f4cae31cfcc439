// The steps that open a server to a group, with the real programs.
#include <gmock/gmock.h>
#include <google/protobuf/util/json_util.h>
#include <gtest/gtest.h>

#include "certificate.h"
#include "example_studies.h"
#include "group_server.h"
#include "gyreboxd.h"

namespace gyrebox {
namespace {

using test::Outcome;
using testing::HasSubstr;
using testing::MatchesRegex;
using testing::Not;

constexpr char kSecret[] = "gyrebox_[A-Za-z0-9_-]+\n";

class UserCommandTest : public testing::Test {
 protected:
  /// Runs gyrebox as a user of the group.
  Outcome Gyrebox(const std::string& user, const std::vector<std::string>& arguments) {
    return WithToken(directory_.Write(user, group_.secret(user) + "\n"), arguments);
  }
  Outcome WithToken(const std::string& token_file, const std::vector<std::string>& arguments) {
    std::vector<std::string> command = {GYREBOX,        "--server", group_.server().tcp_address(), "--tls-ca", ca_,
                                        "--token-file", token_file};
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command);
  }

  test::GroupServer group_;
  test::TemporaryDirectory directory_;
  const std::string ca_ = directory_.Write("ca.pem", group_.certificate());
};

TEST_F(UserCommandTest, AnAdminLetsAUserInAndOut) {
  const Outcome added = Gyrebox("anna", {"users", "add", "new.user", "--days", "3"});
  ASSERT_EQ(added.code, 0) << added.error;
  EXPECT_THAT(added.out, MatchesRegex(kSecret));  // the token alone
  EXPECT_THAT(added.error, HasSubstr("tokens/6 of new.user"));
  const std::string token = directory_.Write("new", added.out);
  EXPECT_EQ(WithToken(token, {"list"}).code, 0);
  EXPECT_EQ(WithToken(token, {"users", "list"}).code, 3);

  const Outcome list = Gyrebox("anna", {"users", "list"});
  EXPECT_THAT(list.out, HasSubstr("rita      member  tokens/4  revoked "));
  EXPECT_THAT(list.out, HasSubstr("ed        admin   tokens/5  expired"));
  EXPECT_THAT(list.out, HasSubstr("new.user  member  tokens/6  valid"));
  v1::ListTokensResponse json;
  const Outcome as_json = Gyrebox("anna", {"users", "list", "--json"});
  ASSERT_TRUE(google::protobuf::util::JsonStringToMessage(as_json.out, &json).ok()) << as_json.out;
  EXPECT_EQ(json.tokens_size(), 6);

  EXPECT_EQ(Gyrebox("anna", {"users", "revoke", "6"}).code, 0);
  const Outcome refused = WithToken(token, {"list"});
  EXPECT_EQ(refused.code, 3);
  EXPECT_THAT(refused.error, HasSubstr("this call needs a valid token"));
  EXPECT_EQ(Gyrebox("anna", {"users", "revoke", "new.user"}).code, 3);
  EXPECT_EQ(Gyrebox("anna", {"users", "revoke", "max"}).code, 0);
  EXPECT_EQ(Gyrebox("max", {"list"}).code, 3);
}

TEST_F(UserCommandTest, BadInputIsNamed) {
  const Outcome name = Gyrebox("anna", {"users", "add", "a b"});
  EXPECT_EQ(name.code, 2);
  EXPECT_THAT(name.error, HasSubstr("user is not a letter followed by"));
  EXPECT_EQ(Gyrebox("anna", {"users", "add", "x", "--days", "0"}).code, 2);
  EXPECT_EQ(Gyrebox("anna", {"users"}).code, 2);
  const Outcome empty = WithToken(directory_.path() + "/none", {"list"});
  EXPECT_EQ(empty.code, 2);
  EXPECT_THAT(empty.error, HasSubstr("--token-file: cannot read a token in"));
  EXPECT_EQ(WithToken(directory_.path(), {"list"}).code, 2);
  const Outcome two = WithToken(directory_.Write("two", "one\ntwo\n"), {"list"});
  EXPECT_EQ(two.code, 2);
  EXPECT_THAT(two.error, HasSubstr("holds more than a token"));
}

TEST_F(UserCommandTest, TheTokenIsTakenFromTheEnvironmentToo) {
  setenv("GYREBOX_TOKEN", group_.secret("olga").c_str(), 1);
  EXPECT_EQ(test::Run({GYREBOX, "--server", group_.server().tcp_address(), "--tls-ca", ca_, "list"}).code, 0);
  unsetenv("GYREBOX_TOKEN");
  EXPECT_EQ(test::Run({GYREBOX, "--server", group_.server().tcp_address(), "--tls-ca", ca_, "list"}).code, 3);
}

TEST_F(UserCommandTest, AnUntrustedServerIsRefused) {
  const std::string other = directory_.Write("other.pem", test::MakeCertificate().certificate);
  const std::string token = directory_.Write("olga", group_.secret("olga"));
  const Outcome outcome =
      test::Run({GYREBOX, "--server", group_.server().tcp_address(), "--tls-ca", other, "--token-file", token, "list"});
  EXPECT_EQ(outcome.code, 4);
  const Outcome plain = test::Run({GYREBOX, "--server", group_.server().tcp_address(), "list"});
  EXPECT_EQ(plain.code, 4);
  EXPECT_THAT(plain.error, HasSubstr("--tls-ca"));
}

// On Linux a connection to 0.0.0.0 reaches this machine, by a name that the certificate lacks.
TEST_F(UserCommandTest, ACertificateForAnotherHostSaysWhatItNeeds) {
  const std::string address = group_.server().tcp_address(), port = address.substr(address.rfind(':'));
  const std::string token = directory_.Write("olga", group_.secret("olga"));
  const Outcome outcome =
      test::Run({GYREBOX, "--server", "0.0.0.0" + port, "--tls-ca", ca_, "--token-file", token, "list"});
  EXPECT_EQ(outcome.code, 4);
  EXPECT_THAT(outcome.error, HasSubstr("the certificate of the server does not name 0.0.0.0"));
  EXPECT_THAT(outcome.error, HasSubstr("subject alternative name IP:0.0.0.0"));
}

TEST_F(UserCommandTest, AStudyIsGivenByItsOwnerOrAnAdminToAKnownUser) {
  ASSERT_TRUE(group_.ClientFor("olga").CreateStudy(test::BareStudy()).ok());
  EXPECT_EQ(Gyrebox("max", {"give", "1", "max"}).code, 3);
  const Outcome unknown = Gyrebox("olga", {"give", "1", "nobody"});
  EXPECT_EQ(unknown.code, 3);
  EXPECT_THAT(unknown.error, HasSubstr("nobody has no valid token on this server"));
  EXPECT_EQ(Gyrebox("olga", {"give", "1", "rita"}).code, 3);  // her token is revoked
  EXPECT_EQ(Gyrebox("olga", {"give", "1", "a b"}).code, 2);
  const Outcome given = Gyrebox("olga", {"give", "1", "max"});
  EXPECT_EQ(given.code, 0) << given.error;
  EXPECT_THAT(given.error, HasSubstr("studies/1: owned by max"));
  EXPECT_THAT(Gyrebox("anna", {"show", "1"}).out, HasSubstr("  owner         max\n"));
  EXPECT_EQ(Gyrebox("olga", {"note", "1", "mine"}).code, 3);
  EXPECT_EQ(Gyrebox("max", {"note", "1", "mine"}).code, 0);
  EXPECT_EQ(Gyrebox("anna", {"give", "1", "olga"}).code, 0);
  EXPECT_EQ(Gyrebox("olga", {"note", "1", "mine again"}).code, 0);
}

TEST_F(UserCommandTest, WithoutTokensAnyoneGivesStudiesAway) {
  test::TestServer before;
  EXPECT_EQ(test::Run({GYREBOX, "--server", before.address(), "submit",
                       directory_.Write("study.toml",
                                        "[bed]\nbead_count = 100\n[drive.sine]\namplitude = 1\n"
                                        "frequency = 1\n[schedule]\nduration = 1\n")})
                .out,
            "studies/1\n");
  const Outcome given = test::Run({GYREBOX, "--server", before.address(), "give", "1", "anna"});
  EXPECT_EQ(given.code, 0) << given.error;
  EXPECT_THAT(test::Run({GYREBOX, "--server", before.address(), "show", "1"}).out, HasSubstr("  owner         anna\n"));
  EXPECT_EQ(test::Run({GYREBOX, "--server", before.address(), "give", "1", "local"}).code, 0);
}

TEST_F(UserCommandTest, ListAndShowGiveTheOwner) {
  ASSERT_TRUE(group_.ClientFor("olga").CreateStudy(test::BareStudy()).ok());
  EXPECT_THAT(Gyrebox("max", {"list"}).out, HasSubstr("studies/1  olga   "));
  EXPECT_THAT(Gyrebox("max", {"show", "1"}).out, HasSubstr("  owner         olga\n"));
}

// A study submitted before the server asked for tokens belongs to "local".
TEST(OpeningTest, OnlyAnAdminGivesAStudyFromBeforeTokens) {
  api::ServerOptions options = test::Unhindered();
  options.tls = test::MakeCertificate();
  std::map<std::string, std::string> secrets;
  test::TestServer server(std::make_shared<test::FakePlan>(), options, [&](store::Store& store) {
    const auto spec = test::AmplitudeStudy({4}, 1);
    EXPECT_TRUE(store.studies().Create(spec, test::NewRuns(spec), "").ok());
    const auto authenticator = access::Authenticator::Make(store, true);
    for (const auto& [user, role] : {std::pair("olga", v1::Token::ROLE_MEMBER), {"anna", v1::Token::ROLE_ADMIN}}) {
      v1::CreateTokenRequest request;
      request.set_user(user);
      request.set_role(role);
      secrets[user] = (*authenticator)->CreateToken(request)->secret();
    }
  });
  const auto give = [&](const std::string& user) {
    return client::Client({server.tcp_address(), options.tls->certificate, secrets[user]})
        .GiveStudy("studies/1", "olga");
  };
  EXPECT_TRUE(absl::IsPermissionDenied(give("olga").status()));
  const auto given = give("anna");
  ASSERT_TRUE(given.ok()) << given.status();
  EXPECT_EQ(given->owner(), "olga");
}

TEST(OpeningTest, TheStepsLeadFromAnEmptyDirectoryToAGroup) {
  test::Gyreboxd server;
  const access::TlsPair tls = test::MakeCertificate();
  const std::string cert = server.directory().Write("cert.pem", tls.certificate);
  const std::string key = server.directory().Write("key.pem", tls.key);
  const Outcome admin = test::Run({GYREBOXD, "--data", server.Data(), "--make-admin", "anna"});
  ASSERT_EQ(admin.code, 0) << admin.error;
  EXPECT_THAT(admin.out, MatchesRegex(kSecret));
  server.StartAndWait({"--tls-cert", cert, "--tls-key", key});
  const std::string token = server.directory().Write("token", admin.out);
  const auto gyrebox = [&](std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(),
                     {GYREBOX, "--server", server.tcp_address(), "--tls-ca", cert, "--token-file", token});
    return test::Run(arguments);
  };
  EXPECT_EQ(gyrebox({"machine"}).code, 0);
  EXPECT_EQ(gyrebox({"users", "add", "ben"}).code, 0);
  const std::string log = server.Log();
  EXPECT_THAT(log, HasSubstr("anna made tokens/2 for ben"));
  EXPECT_THAT(log, Not(HasSubstr("gyrebox_")));
  // A running server locks its directory: admins are then added through the client.
  EXPECT_EQ(test::Run({GYREBOXD, "--data", server.Data(), "--make-admin", "eve"}).code, 3);
}

TEST(OpeningTest, AnInsecureServerDoesNotStart) {
  const test::TemporaryDirectory directory;
  const access::TlsPair tls = test::MakeCertificate();
  const std::string cert = directory.Write("cert.pem", tls.certificate), key = directory.Write("key.pem", tls.key);
  const auto start = [&](std::vector<std::string> more) {
    more.insert(more.begin(), {GYREBOXD, "--data", directory.path() + "/data", "--device", "cpu"});
    Outcome outcome = test::Run(more);
    outcome.error += outcome.out;
    return outcome;
  };
  const Outcome open = start({"--listen", "0.0.0.0:0"});
  EXPECT_EQ(open.code, 2);
  EXPECT_THAT(open.error, HasSubstr("give --tls-cert and --tls-key, and make a first admin with --make-admin NAME"));
  const Outcome nobody = start({"--listen", "0.0.0.0:0", "--tls-cert", cert, "--tls-key", key});
  EXPECT_EQ(nobody.code, 3);
  EXPECT_THAT(nobody.error, HasSubstr("no admin has a valid token"));
  EXPECT_EQ(start({"--tls-cert", cert}).code, 2);
  const Outcome mixed = start({"--tls-cert", cert, "--tls-key", directory.Write("k", test::MakeCertificate().key)});
  EXPECT_EQ(mixed.code, 3);
  EXPECT_THAT(mixed.error, HasSubstr("is not that of the certificate in " + cert));
  EXPECT_EQ(start({"--make-admin", "local"}).code, 2);
  EXPECT_EQ(start({"--streams", "0"}).code, 2);
  EXPECT_EQ(start({"--requests-per-second", "0"}).code, 2);
  EXPECT_EQ(start({"--message-kib", "0"}).code, 2);
}

}  // namespace
}  // namespace gyrebox
