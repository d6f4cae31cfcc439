// Secrets, certificates, rate limits, owners, and expiring or revoked tokens.
#include <absl/strings/escaping.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <spdlog/sinks/ostream_sink.h>
#include <spdlog/spdlog.h>

#include <set>
#include <sstream>

#include "access/limits.h"
#include "access/required_roles.h"
#include "access/secret.h"
#include "access/tls.h"
#include "error_details.h"
#include "example_studies.h"
#include "group_server.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/machine_service.grpc.pb.h"
#include "gyrebox/v1/user_service.grpc.pb.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using access::TokenBucket;
using std::chrono::milliseconds;
using std::chrono::seconds;
using test::GroupServer;
using test::WaitFor;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

TEST(SecretTest, IsHashedBySha256) {
  // NIST, Cryptographic Standards and Guidelines, example values: SHA-256 of "abc" (FIPS 180-4).
  EXPECT_EQ(absl::BytesToHexString(access::HashOf("abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

TEST(SecretTest, Holds256BitsInTheCharactersOfABearerToken) {
  const std::string secret = access::NewSecret();
  // RFC 6750, section 2.1: b64token = 1*( ALPHA / DIGIT / "-" / "." / "_" / "~" / "+" / "/" ) *"=".
  EXPECT_EQ(secret.find_first_not_of("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~+/"),
            std::string::npos);
  std::string bits;
  ASSERT_TRUE(absl::WebSafeBase64Unescape(secret.substr(secret.find('_') + 1), &bits));
  EXPECT_EQ(bits.size(), 32u);
  EXPECT_NE(secret, access::NewSecret());
}

TEST(SecretTest, IsReadFromTheHeaderOfRfc6750) {
  EXPECT_EQ(access::SecretIn("Bearer mF_9.B5f-4.1JqM"), "mF_9.B5f-4.1JqM");  // the RFC's example, section 2.1
  EXPECT_EQ(access::SecretIn("BEARER  x "), "x");
  EXPECT_EQ(access::SecretIn("Basic x"), "");
  EXPECT_EQ(access::SecretIn("Bearer"), "");
  EXPECT_EQ(access::SecretIn(""), "");
}

class TlsFilesTest : public testing::Test {
 protected:
  std::string Why(const std::string& certificate, const std::string& key) {
    const auto pair = access::ReadTlsPair(certificate, key);
    EXPECT_EQ(pair.status().code(), absl::StatusCode::kFailedPrecondition);
    return std::string(pair.status().message());
  }
  test::TemporaryDirectory directory_;
  const access::TlsPair pair_ = test::MakeCertificate();
  const std::string certificate_ = directory_.Write("cert.pem", pair_.certificate);
  const std::string key_ = directory_.Write("key.pem", pair_.key);
};

TEST_F(TlsFilesTest, AMatchingPairIsAccepted) {
  const auto pair = access::ReadTlsPair(certificate_, key_);
  ASSERT_TRUE(pair.ok()) << pair.status();
  EXPECT_EQ(pair->certificate, pair_.certificate);
  EXPECT_EQ(pair->key, pair_.key);
}

TEST_F(TlsFilesTest, FaultsNameTheFile) {
  EXPECT_THAT(Why(directory_.path() + "/no", key_), HasSubstr("certificate in " + directory_.path() + "/no: No such"));
  EXPECT_THAT(Why(certificate_, directory_.path() + "/no"), HasSubstr("the key in " + directory_.path() + "/no"));
  EXPECT_THAT(Why(directory_.path(), key_), HasSubstr("cannot read the certificate"));
  EXPECT_THAT(Why(key_, key_), HasSubstr(key_ + " holds no certificate"));
  EXPECT_THAT(Why(certificate_, certificate_), HasSubstr(certificate_ + " holds no private key"));
  const std::string other = directory_.Write("other.pem", test::MakeCertificate().key);
  EXPECT_THAT(Why(certificate_, other), HasSubstr("the key in " + other + " is not that of the certificate"));
  const std::string old = directory_.Write("old.pem", test::MakeCertificate(-200, -100).certificate);
  EXPECT_THAT(Why(old, key_), HasSubstr("not that of the certificate"));
  const access::TlsPair expired = test::MakeCertificate(-200, -100), young = test::MakeCertificate(100, 200);
  EXPECT_THAT(Why(directory_.Write("c1", expired.certificate), directory_.Write("k1", expired.key)),
              HasSubstr("expired"));
  EXPECT_THAT(Why(directory_.Write("c2", young.certificate), directory_.Write("k2", young.key)),
              HasSubstr("not valid yet"));
}

TEST_F(TlsFilesTest, WarnsThirtyDaysBeforeACertificateExpires) {
  constexpr long kDay = 24 * 3600;
  const auto warning = [&](long days) {
    const access::TlsPair made = test::MakeCertificate(-60, days * kDay + 3600);
    const std::string name = std::to_string(days);
    const auto pair =
        access::ReadTlsPair(directory_.Write("c" + name, made.certificate), directory_.Write("k" + name, made.key));
    EXPECT_TRUE(pair.ok()) << pair.status();
    return access::EndWarning(*pair, std::chrono::system_clock::now());
  };
  EXPECT_EQ(warning(31), "");
  EXPECT_THAT(warning(29), HasSubstr("ends in 29 days"));
  EXPECT_THAT(warning(0), HasSubstr("ends in 0 days"));
}

TEST(TokenBucketTest, GivesItsSizeAtOnceAndThenItsRate) {
  const TokenBucket::Clock::time_point start;
  TokenBucket bucket(4, 2, start);
  EXPECT_EQ(bucket.Take(start), 0);
  EXPECT_EQ(bucket.Take(start), 0);
  EXPECT_DOUBLE_EQ(bucket.Take(start), 0.25);
  EXPECT_DOUBLE_EQ(bucket.Take(start + milliseconds(125)), 0.125);
  EXPECT_EQ(bucket.Take(start + milliseconds(250)), 0);
  EXPECT_GT(bucket.Take(start + milliseconds(250)), 0);
  EXPECT_EQ(bucket.Take(start + seconds(1000)), 0);
  EXPECT_EQ(bucket.Take(start + seconds(1000)), 0);
  EXPECT_GT(bucket.Take(start + seconds(1000)), 0);  // it never holds more than its size, however long the wait
}

TEST(LimitsTest, EachUserHasSeparateLimits) {
  access::Limits limits({.message_bytes = 1, .requests_per_second = 0.5, .streams = 2});
  const TokenBucket::Clock::time_point now;
  EXPECT_EQ(limits.Request("olga", now), 0);
  EXPECT_GT(limits.Request("olga", now), 0);
  EXPECT_EQ(limits.Request("max", now), 0);
  auto first = limits.Stream("olga");
  auto second = limits.Stream("olga");
  EXPECT_NE(second, nullptr);
  EXPECT_EQ(limits.Stream("olga"), nullptr);
  EXPECT_NE(limits.Stream("max"), nullptr);
  const auto copy = first;
  first.reset();
  EXPECT_EQ(limits.Stream("olga"), nullptr);  // the copy still holds the slot
  second.reset();
  EXPECT_NE(limits.Stream("olga"), nullptr);
}

/// Calls of one user, each with its own context.
class Caller {
 public:
  Caller(GroupServer& group, const std::string& user) : secret_(group.secret(user)), channel_(group.Connect()) {}

  std::unique_ptr<grpc::ClientContext> Context() const {
    auto context = std::make_unique<grpc::ClientContext>();
    context->AddMetadata("authorization", "Bearer " + secret_);
    context->set_deadline(std::chrono::system_clock::now() + seconds(60));
    return context;
  }

  grpc::Status GetMachine() {
    v1::Machine machine;
    return v1::MachineService::NewStub(channel_)->GetMachine(Context().get(), {}, &machine);
  }

  grpc::Status Check(const std::string& title) {
    v1::CheckStudyRequest request;
    request.mutable_spec()->set_title(title);
    v1::CheckStudyResponse response;
    return v1::StudyService::NewStub(channel_)->CheckStudy(Context().get(), request, &response);
  }

  std::unique_ptr<grpc::ClientReader<v1::WatchRunsResponse>> Watch(grpc::ClientContext* context) {
    v1::WatchRunsRequest request;
    request.set_parent("studies/1");
    return runs_->WatchRuns(context, request);
  }

 private:
  const std::string secret_;
  const std::shared_ptr<grpc::Channel> channel_;
  const std::unique_ptr<v1::RunService::Stub> runs_ = v1::RunService::NewStub(channel_);
};

TEST(LimitsOverTheWireTest, ThrottledCallersAreToldHowLongToWait) {
  api::ServerOptions options = test::Unhindered();
  options.limits.requests_per_second = 0.01;
  GroupServer group(options);
  Caller olga(group, "olga"), max(group, "max");
  EXPECT_TRUE(olga.GetMachine().ok());
  const grpc::Status refused = olga.GetMachine();
  EXPECT_EQ(refused.error_code(), grpc::StatusCode::RESOURCE_EXHAUSTED);
  EXPECT_THAT(refused.error_message(), HasSubstr("requests a second from olga"));
  EXPECT_EQ(test::DetailsOf(refused).info.reason(), "TOO_MANY");
  EXPECT_GT(test::DetailsOf(refused).retry_seconds(), 0);
  EXPECT_LE(test::DetailsOf(refused).retry_seconds(), 100);
  EXPECT_TRUE(max.GetMachine().ok());
}

TEST(LimitsOverTheWireTest, TheClientHonoursTheRetryDelay) {
  api::ServerOptions options = test::Unhindered();
  options.limits.requests_per_second = 20;
  GroupServer group(options);
  auto olga = group.ClientFor("olga");
  for (int i = 0; i < 60; ++i) ASSERT_TRUE(olga.GetMachine().ok()) << i;
}

TEST(LimitsOverTheWireTest, ARequestThatIsTooLargeIsRefused) {
  api::ServerOptions options = test::Unhindered();
  options.limits.message_bytes = 1000;
  GroupServer group(options);
  Caller olga(group, "olga");
  EXPECT_TRUE(olga.Check(std::string(900, 'x')).ok());
  EXPECT_EQ(olga.Check(std::string(1100, 'x')).error_code(), grpc::StatusCode::RESOURCE_EXHAUSTED);
}

TEST(LimitsOverTheWireTest, StreamsOfAUserAreCounted) {
  api::ServerOptions options = test::Unhindered();
  options.limits.streams = 2;
  GroupServer group(options);
  group.server().plan().held = true;
  ASSERT_TRUE(group.ClientFor("olga").CreateStudy(test::BareStudy()).ok());
  Caller olga(group, "olga"), max(group, "max");
  v1::WatchRunsResponse message;
  const auto c1 = olga.Context(), c2 = olga.Context(), c3 = olga.Context(), c4 = max.Context();
  const auto first = olga.Watch(c1.get()), second = olga.Watch(c2.get());
  ASSERT_TRUE(first->Read(&message));
  ASSERT_TRUE(second->Read(&message));
  const auto third = olga.Watch(c3.get());
  EXPECT_FALSE(third->Read(&message));
  const grpc::Status refused = third->Finish();
  EXPECT_EQ(refused.error_code(), grpc::StatusCode::RESOURCE_EXHAUSTED);
  EXPECT_GT(test::DetailsOf(refused).retry_seconds(), 0);
  const auto other = max.Watch(c4.get());
  EXPECT_TRUE(other->Read(&message));
  c1->TryCancel();
  EXPECT_TRUE(WaitFor([&] {
    const auto context = olga.Context();
    const auto again = olga.Watch(context.get());
    const bool open = again->Read(&message);
    context->TryCancel();
    return open;
  }));
  group.server().plan().held = false;
  c2->TryCancel();
  c4->TryCancel();
  for (const auto& reader : {first.get(), second.get(), other.get()}) {
    while (reader->Read(&message)) {
    }
    EXPECT_EQ(reader->Finish().error_code(), grpc::StatusCode::CANCELLED);
  }
}

TEST(TokenTest, AStreamEndsWhenItsTokenIsRevoked) {
  GroupServer group;
  group.server().plan().held = true;
  ASSERT_TRUE(group.ClientFor("olga").CreateStudy(test::BareStudy()).ok());
  Caller max(group, "max");
  const auto context = max.Context();
  const auto stream = max.Watch(context.get());
  v1::WatchRunsResponse message;
  ASSERT_TRUE(stream->Read(&message));
  v1::RevokeTokensRequest request;
  request.set_user("max");
  ASSERT_TRUE(group.ClientFor("anna").RevokeTokens(request).ok());
  while (stream->Read(&message)) {
  }
  EXPECT_EQ(stream->Finish().error_code(), grpc::StatusCode::UNAUTHENTICATED);
  EXPECT_EQ(max.GetMachine().error_code(), grpc::StatusCode::UNAUTHENTICATED);
  EXPECT_TRUE(group.ClientFor("olga").GetMachine().ok());
  group.server().plan().held = false;
}

TEST(TokenTest, TokensOwnersAndRevocationsSurviveARestart) {
  GroupServer group;
  ASSERT_TRUE(group.ClientFor("olga").CreateStudy(test::BareStudy()).ok());
  group.server().Stop();
  group.server().Start();
  EXPECT_EQ(group.ClientFor("max").GetStudy("studies/1")->owner(), "olga");
  EXPECT_EQ(group.ClientFor("rita").GetMachine().status().code(), absl::StatusCode::kUnauthenticated);
  const auto tokens = group.ClientFor("anna").ListTokens();
  ASSERT_TRUE(tokens.ok()) << tokens.status();
  ASSERT_EQ(tokens->tokens_size(), 5);
  EXPECT_EQ(tokens->tokens(3).user(), "rita");
  EXPECT_TRUE(tokens->tokens(3).has_revoke_time());
}

TEST(TokenTest, TokensAreListedInPages) {
  GroupServer group;
  const auto users = v1::UserService::NewStub(group.Connect());
  v1::ListTokensRequest request;
  request.set_page_size(2);
  std::vector<int> sizes;
  std::set<std::string> names;
  do {
    grpc::ClientContext context;
    context.AddMetadata("authorization", "Bearer " + group.secret("anna"));
    v1::ListTokensResponse page;
    ASSERT_TRUE(users->ListTokens(&context, request, &page).ok());
    sizes.push_back(page.tokens_size());
    for (const v1::Token& token : page.tokens()) names.insert(token.name());
    request.set_page_token(page.next_page_token());
  } while (!request.page_token().empty());
  EXPECT_THAT(sizes, ElementsAre(2, 2, 1));
  EXPECT_EQ(names.size(), 5u);
}

TEST(TokenTest, ARefusedTokenComesWithAReason) {
  GroupServer group;
  const auto machines = v1::MachineService::NewStub(group.Connect());
  for (const std::string& header :
       {std::string(), std::string("Bearer gyrebox_guess"), "Bearer " + group.secret("ed")}) {
    grpc::ClientContext context;
    if (!header.empty()) context.AddMetadata("authorization", header);
    v1::Machine machine;
    const auto refused = machines->GetMachine(&context, {}, &machine);
    EXPECT_EQ(refused.error_code(), grpc::StatusCode::UNAUTHENTICATED);
    EXPECT_EQ(test::DetailsOf(refused).info.reason(), "NO_VALID_TOKEN");
  }
}

TEST(TokenTest, OnlyAHashOfASecretIsKept) {
  GroupServer group;
  const std::string data = group.server().data();
  group.server().Stop();
  int files = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(data)) {
    if (!entry.is_regular_file()) continue;
    std::ifstream in(entry.path(), std::ios::binary);
    const std::string bytes{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
    EXPECT_THAT(bytes, Not(HasSubstr(group.secret("olga").substr(8)))) << entry.path();
    files += bytes.find(access::HashOf(group.secret("olga"))) != std::string::npos ? 1 : 0;
  }
  EXPECT_GT(files, 0);
  group.server().Start();
}

TEST(TokenTest, TheLastAdminCannotBeRevoked) {
  GroupServer group;
  auto anna = group.ClientFor("anna");
  v1::RevokeTokensRequest by_user, by_name;
  by_user.set_user("anna");
  by_name.set_name("tokens/3");
  for (const auto& request : {by_user, by_name}) {
    const auto refused = anna.RevokeTokens(request);  // ed is an admin too, but his token has expired
    EXPECT_EQ(refused.status().code(), absl::StatusCode::kFailedPrecondition);
    EXPECT_THAT(std::string(refused.status().message()), HasSubstr("let in another admin first"));
  }
  ASSERT_TRUE(anna.GetMachine().ok());
  v1::CreateTokenRequest another;
  another.set_user("eve");
  another.set_role(v1::Token::ROLE_ADMIN);
  ASSERT_TRUE(anna.CreateToken(another).ok());
  EXPECT_TRUE(anna.RevokeTokens(by_name).ok());
  EXPECT_TRUE(absl::IsUnauthenticated(anna.GetMachine().status()));
}

TEST(TokenTest, FieldsOutOfRangeAreRefused) {
  GroupServer group;
  auto anna = group.ClientFor("anna");
  v1::CreateTokenRequest request;
  for (const std::string& user : {std::string(), std::string("local"), std::string("3"), std::string("a b"),
                                  std::string("-x"), std::string(65, 'a'), std::string("\xc3\xa4")}) {
    request.set_user(user);
    const auto refused = anna.CreateToken(request);
    EXPECT_EQ(refused.status().code(), absl::StatusCode::kInvalidArgument) << user;
    EXPECT_THAT(std::string(refused.status().message()), HasSubstr("user"));
  }
  request.set_user(std::string(64, 'a'));
  EXPECT_TRUE(anna.CreateToken(request).ok());
  for (const int days : {-1, 3651}) {
    request.set_lifetime_days(days);
    EXPECT_EQ(anna.CreateToken(request).status().code(), absl::StatusCode::kInvalidArgument);
  }
  request.set_lifetime_days(2);
  const auto made = anna.CreateToken(request);
  ASSERT_TRUE(made.ok());
  EXPECT_EQ(made->token().expire_time().seconds() - made->token().create_time().seconds(), 2 * 24 * 3600);
  EXPECT_EQ(anna.RevokeTokens({}).status().code(), absl::StatusCode::kInvalidArgument);
  v1::RevokeTokensRequest revoke;
  for (const char* name : {"tokens/99", "tokens/-1", "rubbish"}) {
    revoke.set_name(name);
    EXPECT_EQ(anna.RevokeTokens(revoke).status().code(), absl::StatusCode::kNotFound) << name;
  }
}

TEST(TokenTest, TheLogGivesTheReasonOfARefusalAndNeverTheToken) {
  std::ostringstream log;
  const auto before = spdlog::default_logger();
  {
    GroupServer group;
    spdlog::set_default_logger(
        std::make_shared<spdlog::logger>("test", std::make_shared<spdlog::sinks::ostream_sink_mt>(log)));
    const std::string unknown = access::NewSecret();
    EXPECT_FALSE(client::Client({group.server().tcp_address(), group.certificate(), unknown}).GetMachine().ok());
    EXPECT_FALSE(group.ClientFor("ed").GetMachine().ok());
    EXPECT_FALSE(group.ClientFor("rita").GetMachine().ok());
    spdlog::set_default_logger(before);
    EXPECT_THAT(log.str(), HasSubstr("there is no such token"));
    EXPECT_THAT(log.str(), HasSubstr("tokens/5 of ed is expired"));
    EXPECT_THAT(log.str(), HasSubstr("tokens/4 of rita is revoked"));
    for (const std::string& secret : {unknown, group.secret("ed"), group.secret("rita")}) {
      EXPECT_THAT(log.str(), Not(HasSubstr(secret.substr(8))));
    }
  }
}

TEST(LocalTest, TheUnixSocketNeedsNoTokenAndItsUsersAreLocal) {
  test::TestServer server;
  client::Client local(server.address());
  const auto study = local.CreateStudy(test::BareStudy());
  ASSERT_TRUE(study.ok()) << study.status();
  EXPECT_EQ(study->owner(), "local");
  EXPECT_TRUE(local.ListTokens().ok());
}

TEST(LocalTest, AGroupsServerWithoutAnAdminDoesNotStart) {
  const test::TemporaryDirectory directory;
  api::ServerOptions options;
  options.tls = test::MakeCertificate();
  const auto server = api::Server::Start(options, *store::Store::Open(directory.path()),
                                         std::make_unique<test::FakeDevice>(std::make_shared<test::FakePlan>()), "");
  EXPECT_EQ(server.status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_THAT(std::string(server.status().message()), HasSubstr("--make-admin"));
}

}  // namespace
}  // namespace gyrebox
