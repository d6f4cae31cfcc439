// The real gyreboxd against whatever a network, or another account of its machine, can send to it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <sys/stat.h>

#include <filesystem>
#include <map>
#include <thread>

#include "certificate.h"
#include "discovery/address_file.h"
#include "example_studies.h"
#include "gyreboxd.h"
#include "raw_http2.h"

namespace gyrebox {
namespace {

using test::Gyreboxd;
using test::Headers;
using test::Outcome;
using test::RawHttp2;
using test::WaitFor;
using testing::AnyOf;
using testing::HasSubstr;
using testing::Not;

constexpr char kGetMachine[] = "/gyrebox.v1.MachineService/GetMachine";
constexpr char kCheckStudy[] = "/gyrebox.v1.StudyService/CheckStudy";

/// A server with or without TLS, and the token that it requires over TCP.
class NetworkTest : public testing::TestWithParam<bool> {
 protected:
  void Start(std::vector<std::string> options = {}) {
    options.insert(options.end(), {"--requests-per-second", "1000000"});
    if (GetParam()) {
      const std::string token_file = server_.directory().path() + "/anna";
      const Outcome made =
          test::Run({GYREBOXD, "--data", server_.Data(), "--make-admin", "anna", "--token-out", token_file});
      ASSERT_EQ(made.code, 0) << made.error;
      EXPECT_EQ(made.out, "");
      const std::string text = test::ReadAll(token_file);
      token_ = text.substr(0, text.find('\n'));
      WriteCertificate();
      options.insert(options.end(), {"--tls-cert", Path("cert.pem"), "--tls-key", Path("key.pem")});
    }
    ASSERT_NO_FATAL_FAILURE(server_.StartAndWait(options));
    if (!GetParam()) {
      token_ = access::FindLocalServer(server_.Runtime() + "/gyrebox", server_.tcp_address())->token;
    }
  }
  void WriteCertificate() {
    tls_ = test::MakeCertificate();
    server_.directory().Write("cert.pem", tls_.certificate);
    server_.directory().Write("key.pem", tls_.key);
  }
  std::string Path(const std::string& name) const { return server_.directory().path() + "/" + name; }

  client::Client Client() const {
    return client::Client({server_.tcp_address(), GetParam() ? tls_.certificate : "", token_});
  }
  void ExpectAnswersAndEnds() {
    EXPECT_TRUE(Client().GetMachine().ok()) << Client().GetMachine().status() << server_.Log();
    server_.Signal(SIGTERM);
    EXPECT_EQ(server_.Wait(), 0) << server_.Log();
  }

  /// Resident memory of the server in MB.
  long Resident() const {
    std::ifstream status("/proc/" + std::to_string(server_.pid()) + "/status");
    for (std::string line; std::getline(status, line);) {
      if (line.starts_with("VmRSS:")) return std::stol(line.substr(6)) / 1024;
    }
    return 0;
  }

  Gyreboxd server_;
  access::TlsPair tls_;
  std::string token_;
};

INSTANTIATE_TEST_SUITE_P(Tls, NetworkTest, testing::Bool(),
                         [](const auto& info) { return info.param ? "WithTls" : "Plain"; });

// Keys that gRPC 1.51 reserves: src/core/lib/transport/metadata_batch.h of its source.
const std::string kKeysOfGrpc[] = {":path",
                                   ":authority",
                                   ":method",
                                   ":status",
                                   ":scheme",
                                   "te",
                                   "content-type",
                                   "host",
                                   "user-agent",
                                   "grpc-encoding",
                                   "grpc-internal-encoding-request",
                                   "grpc-accept-encoding",
                                   "grpc-status",
                                   "grpc-message",
                                   "grpc-timeout",
                                   "grpc-previous-rpc-attempts",
                                   "grpc-retry-pushback-ms",
                                   "grpc-server-stats-bin",
                                   "grpc-trace-bin",
                                   "grpc-tags-bin",
                                   "grpclb_client_stats",
                                   "lb-token",
                                   "lb-cost-bin",
                                   "endpoint-load-metrics-bin",
                                   "x-envoy-peer-metadata",
                                   "authorization",
                                   "some-key",
                                   "some-key-bin",
                                   ""};

TEST_P(NetworkTest, NoMetadataStopsIt) {
  ASSERT_NO_FATAL_FAILURE(Start());
  for (const std::string& key : kKeysOfGrpc) {
    for (const std::string& value : {std::string(), std::string("x"), std::string("\0\x01\x7f\x80\xff\r\n", 7),
                                     std::string(9000, 'y'), std::string(100'000, 'z')}) {
      for (int times = 1; times <= 2; ++times) {
        for (const bool with_token : {false, true}) {
          Headers headers(static_cast<size_t>(times), {key, value});
          if (with_token) headers.insert(headers.begin(), {"authorization", "Bearer " + token_});
          RawHttp2 peer(server_.port(), GetParam());
          ASSERT_TRUE(peer.connected()) << key << server_.Log();
          peer.Begin();
          peer.Call(1, kGetMachine, headers);
          peer.ReadToEnd(1);
        }
      }
    }
  }
  ExpectAnswersAndEnds();
}

TEST_P(NetworkTest, BareConnectionsDoNotBlockIt) {
  server_.set_prefix({"/usr/bin/prlimit", "--nofile=256:256"});
  ASSERT_NO_FATAL_FAILURE(Start({"--checkpoint-seconds", "0.1"}));
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_schedule()->set_duration(20);
  {
    auto before = Client();
    ASSERT_TRUE(before.CreateStudy(spec).ok());
    std::vector<std::unique_ptr<RawHttp2>> many;
    for (int i = 0; i < 300; ++i) many.push_back(std::make_unique<RawHttp2>(server_.port(), false));
    EXPECT_TRUE(before.GetMachine().ok()) << "who is in stays in";
    EXPECT_TRUE(WaitFor([&] { return before.GetStudy("studies/1")->has_end_time(); })) << server_.Log();
    EXPECT_TRUE(before.CreateStudy(spec).ok()) << "the store has descriptors";
    EXPECT_EQ(before.GetMachine()->trouble(), "");
  }
  EXPECT_TRUE(WaitFor([&] { return Client().GetStudy("studies/2").ok(); })) << server_.Log();
  EXPECT_EQ(Client().GetStudy("studies/1")->state(), v1::Study::STATE_FINISHED);
  ExpectAnswersAndEnds();
}

/// Begins many calls, each with an incomplete message, as far as the flow-control windows of the server allow.
class HalfBodies {
 public:
  HalfBodies(int port, bool tls, uint32_t calls, const Headers& headers) : peer_(port, tls) {
    if (!peer_.Begin()) return;  // a server short of memory may refuse it
    for (uint32_t i = 0; i < calls; ++i) {
      const uint32_t stream = 2 * i + 1;
      if (!peer_.Open(stream, kCheckStudy, headers)) return;
      left_[stream] = kMessage;
      window_[stream] = kFirstWindow;
    }
    // RFC 9113 lets a client delay its SETTINGS acknowledgement, so the stream limit does not hold yet.
  }

  /// Sends what flow control allows. False if nothing can be sent now.
  bool Push() {
    while (Readable()) {
      const auto frame = peer_.Read();
      if (frame.type < 0) return false;
      if (frame.type == 8 && frame.payload.size() == 4) Widen(frame);
      if (frame.type == 4 && (frame.flags & 1) == 0) Settle(frame.payload);
    }
    bool sent = false;
    for (auto& [stream, left] : left_) {
      const int64_t size = std::min({left, window_[stream] + more_, connection_, int64_t{16384}});
      if (size <= 0) continue;
      std::string bytes(static_cast<size_t>(size), 'x');
      if (left == kMessage) bytes.replace(0, 5, '\0' + test::BigEndian(kMessage, 4));  // five bytes are never sent
      if (!peer_.SendFrame(test::kData, 0, stream, bytes)) return false;
      left -= size;
      window_[stream] -= size;
      connection_ -= size;
      sent_ += size;
      sent = true;
    }
    return sent;
  }
  int64_t sent() const { return sent_; }

 private:
  static constexpr int64_t kMessage = 1'000'000;
  static constexpr int64_t kFirstWindow = 65535;

  bool Readable() const {
    pollfd one{.fd = peer_.fd(), .events = POLLIN, .revents = 0};
    return peer_.pending() || poll(&one, 1, 0) > 0;
  }
  static uint32_t Number(const std::string& text, size_t at) {
    uint32_t number = 0;
    for (size_t i = at; i < at + 4; ++i) number = number << 8 | static_cast<unsigned char>(text[i]);
    return number;
  }
  void Widen(const RawHttp2::Received& frame) {
    (frame.stream == 0 ? connection_ : window_[frame.stream]) += Number(frame.payload, 0);
  }
  void Settle(const std::string& payload) {
    for (size_t at = 0; at + 6 <= payload.size(); at += 6) {
      if (payload[at] == 0 && payload[at + 1] == 4) more_ = Number(payload, at + 2) - kFirstWindow;
    }
  }

  RawHttp2 peer_;
  std::map<uint32_t, int64_t> left_, window_;
  int64_t connection_ = kFirstWindow, more_ = 0, sent_ = 0;
};

TEST_P(NetworkTest, HalfSentBodiesTakeLittleMemory) {
  ASSERT_NO_FATAL_FAILURE(Start());
  auto member = Client();
  ASSERT_TRUE(member.GetMachine().ok());
  const Headers headers = {{"authorization", "Bearer " + token_}};
  const long before = Resident();
  long most = before;
  const auto push = [&](std::vector<std::unique_ptr<HalfBodies>>& all) {
    int64_t sent = 0;
    for (int quiet = 0; quiet < 50; ++quiet) {
      bool moved = false;
      for (const auto& one : all) moved = one->Push() || moved;
      if (moved) quiet = 0;
      std::this_thread::sleep_for(std::chrono::milliseconds(moved ? 0 : 10));
      most = std::max(most, Resident());
    }
    for (const auto& one : all) sent += one->sent();
    return sent;
  };
  std::vector<std::unique_ptr<HalfBodies>> one, many;
  one.push_back(std::make_unique<HalfBodies>(server_.port(), GetParam(), 900, headers));
  EXPECT_GT(push(one), 60'000);
  for (int i = 0; i < 60; ++i) {
    many.push_back(std::make_unique<HalfBodies>(server_.port(), GetParam(), 15, headers));
  }
  EXPECT_GT(push(many), 1'000'000);
  // 1.8 GB are announced. Without limits gRPC buffers everything sent: 890 MB for 840 MB. Bytes that arrive between two
  // checks of the acceptor add to its 32 MB limit; gRPC's copies double both.
  EXPECT_LT(most - before, 200);
  EXPECT_TRUE(member.GetMachine().ok());
  one.clear();
  many.clear();
  ExpectAnswersAndEnds();
}

// HTTP/2 limits open streams, but a reset stream is not open (CVE-2023-44487).
TEST_P(NetworkTest, CallsResetAtOnceEndTheirConnection) {
  ASSERT_NO_FATAL_FAILURE(Start());
  auto member = Client();
  ASSERT_TRUE(member.GetMachine().ok());
  const long before = Resident();
  long most = before;
  for (int connection = 0; connection < 4; ++connection) {
    RawHttp2 peer(server_.port(), GetParam());
    ASSERT_TRUE(peer.Begin());
    constexpr uint32_t kCalls = 50'000;
    uint32_t call = 0;
    for (; call < kCalls; ++call) {
      const uint32_t stream = 2 * call + 1;
      const bool whole = connection % 2 == 0;
      const Headers headers = {{"authorization", "Bearer " + token_}};
      if (!(whole ? peer.Call(stream, kGetMachine, headers) : peer.Open(stream, kGetMachine, headers))) break;
      if (!peer.SendFrame(test::kResetStream, 0, stream, test::BigEndian(8, 4))) break;
      if (call % 1000 == 0) most = std::max(most, Resident());
    }
    EXPECT_LT(call, kCalls) << "the server ended it";
    most = std::max(most, Resident());
  }
  EXPECT_LT(most - before, 100);
  EXPECT_TRUE(member.GetMachine().ok()) << "a proper connection stays";
  ExpectAnswersAndEnds();
}

// ---- other users of the machine

class LocalServerTest : public testing::Test {
 protected:
  static constexpr const char* kNobody[] = {"/usr/bin/setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"};

  /// Runs gyrebox as the user who owns the server.
  Outcome Gyrebox(const std::vector<std::string>& arguments) const {
    std::vector<std::string> command = {"/usr/bin/env", "-u", "HOME", "XDG_RUNTIME_DIR=" + server_.Runtime(), GYREBOX};
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command);
  }
  std::string Note() const {
    std::string name = server_.tcp_address();
    name[name.find(':')] = '_';
    return server_.Runtime() + "/gyrebox/" + name;
  }

  Gyreboxd server_;
};

TEST_F(LocalServerTest, TheClientFindsItWithoutOptions) {
  server_.StartAndWait();
  EXPECT_EQ(Gyrebox({"machine"}).code, 0) << Gyrebox({"machine"}).error;
  EXPECT_EQ(Gyrebox({"--server", server_.tcp_address(), "machine"}).code, 0);
  EXPECT_EQ(Gyrebox({"--server", server_.address(), "machine"}).code, 0);
  std::filesystem::remove(server_.Data() + "/gyreboxd.sock");  // as in a container that cannot see the socket
  EXPECT_EQ(Gyrebox({"--server", server_.tcp_address(), "machine"}).code, 0);
  EXPECT_TRUE(std::filesystem::exists(Note()));
  server_.Signal(SIGTERM);
  EXPECT_EQ(server_.Wait(), 0) << server_.Log();
  EXPECT_FALSE(std::filesystem::exists(Note()));
}

TEST_F(LocalServerTest, FilesOfAKilledServerAreReplaced) {
  server_.StartAndWait();
  const std::string listen = server_.tcp_address();
  server_.Kill();
  EXPECT_EQ(Gyrebox({"machine"}).code, 4);
  server_.set_listen(listen);
  server_.StartAndWait();
  EXPECT_EQ(server_.tcp_address(), listen);
  EXPECT_EQ(Gyrebox({"machine"}).code, 0) << Gyrebox({"machine"}).error;
  EXPECT_EQ(Gyrebox({"--server", listen, "machine"}).code, 0);
}

TEST_F(LocalServerTest, AnotherAccountIsRefused) {
  server_.StartAndWait();
  const std::string socket = server_.Data() + "/gyreboxd.sock";
  for (const std::string& path : {Note(), socket}) {
    EXPECT_EQ(std::filesystem::status(path).permissions(), std::filesystem::perms(0600)) << path;
  }
  for (const std::string& path : {server_.Runtime() + "/gyrebox", server_.Data()}) {
    EXPECT_EQ(std::filesystem::status(path).permissions(), std::filesystem::perms(0700)) << path;
  }
  EXPECT_EQ(test::Run({"/usr/bin/env", "-u", "HOME", "XDG_RUNTIME_DIR=/nowhere", GYREBOX, "--server",
                       server_.tcp_address(), "machine"})
                .code,
            3);
  if (geteuid() != 0) return;  // the rest needs root
  // Independent of the permissions of the parent directories.
  for (const std::string& path :
       {server_.directory().path(), server_.Data(), server_.Runtime(), server_.Runtime() + "/gyrebox"}) {
    std::filesystem::permissions(path, std::filesystem::perms(0755));
  }
  const auto as_nobody = [&](const std::vector<std::string>& arguments) {
    std::vector<std::string> command(std::begin(kNobody), std::end(kNobody));
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command).code;
  };
  const std::string runtime = "XDG_RUNTIME_DIR=" + server_.Runtime();
  ASSERT_EQ(as_nobody({"/bin/ls", server_.Data()}), 0);
  EXPECT_NE(as_nobody({"/bin/cat", Note()}), 0);
  EXPECT_NE(as_nobody({"/bin/cat", server_.Data() + "/gyrebox.db"}), 0);
  EXPECT_EQ(as_nobody({"/usr/bin/env", runtime, GYREBOX, "--server", server_.address(), "machine"}), 4);
  EXPECT_EQ(as_nobody({"/usr/bin/env", runtime, GYREBOX, "--server", server_.tcp_address(), "machine"}), 3);
}

bool IsPrivate(const std::filesystem::path& path) {
  struct stat there {};
  return lstat(path.c_str(), &there) == 0 && (there.st_mode & 077) == 0;
}

TEST_F(LocalServerTest, DataIsPrivateWhateverTheUmaskAndEarlierFiles) {
  // Emulates files of an earlier server, and a start with an open umask.
  server_.StartAndWait();
  server_.Signal(SIGTERM);
  ASSERT_EQ(server_.Wait(), 0) << server_.Log();
  std::ofstream(server_.Data() + "/states/1-1-1.end").close();
  for (const auto& entry : std::filesystem::recursive_directory_iterator(server_.Data())) {
    std::filesystem::permissions(entry, std::filesystem::perms(entry.is_directory() ? 0755 : 0644));
  }
  std::filesystem::permissions(server_.Data(), std::filesystem::perms(0755));
  server_.set_prefix({"/bin/sh", "-c", "umask 0; exec \"$@\"", "sh"});
  server_.StartAndWait();
  ASSERT_TRUE(client::Client(server_.address()).CreateStudy(test::BareStudy()).ok());
  server_.WaitForEnd("studies/1");
  EXPECT_TRUE(IsPrivate(server_.Data()));
  int files = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(server_.Data())) {
    EXPECT_TRUE(IsPrivate(entry.path())) << entry.path();
    ++files;
  }
  EXPECT_GE(files, 5);
}

TEST_F(LocalServerTest, NothingNeedsAHome) {
  server_.set_prefix({"/usr/bin/env", "-u", "HOME"});
  server_.StartAndWait();
  EXPECT_EQ(Gyrebox({"machine"}).code, 0);
}

TEST_F(LocalServerTest, TheLogIsOnStandardError) {
  server_.StartAndWait();
  EXPECT_EQ(test::ReadAll(server_.directory().path() + "/out"), "");
  EXPECT_THAT(test::ReadAll(server_.directory().path() + "/error"), HasSubstr("listening on 127.0.0.1:"));
}

TEST_F(LocalServerTest, APathThatIsTooLongIsRefused) {
  const Outcome refused = test::Run({GYREBOXD, "--data", server_.Data(), "--listen", "127.0.0.1:0", "--device", "cpu",
                                     "--socket", "/tmp/" + std::string(120, 'x')});
  EXPECT_EQ(refused.code, 2);
  EXPECT_THAT(refused.error, HasSubstr("give --socket a path of 1 to 107"));
}

TEST_F(LocalServerTest, ATokenDoesNotReplaceAFile) {
  const std::string file = server_.directory().Write("there", "mine");
  const auto make = [&](const std::string& path) {
    return test::Run({GYREBOXD, "--data", server_.Data(), "--make-admin", "anna", "--token-out", path});
  };
  const Outcome refused = make(file);
  EXPECT_EQ(refused.code, 3);
  EXPECT_THAT(refused.error, HasSubstr(file + " is there already"));
  EXPECT_EQ(test::ReadAll(file), "mine");
  const std::string fresh = server_.directory().path() + "/fresh";
  EXPECT_EQ(make(fresh).code, 0);
  EXPECT_THAT(test::ReadAll(fresh), testing::MatchesRegex("gyrebox_[A-Za-z0-9_-]+\n"));
  EXPECT_EQ(std::filesystem::status(fresh).permissions(), std::filesystem::perms(0600));
  EXPECT_EQ(test::Run({GYREBOXD, "--data", server_.Data(), "--token-out", fresh + "2"}).code, 2);
}

// ---- certificate reload

class ReloadTest : public NetworkTest {
 protected:
  absl::Status Call(const access::TlsPair& trusted) const {
    return client::Client({server_.tcp_address(), trusted.certificate, token_}).GetMachine().status();
  }
};
INSTANTIATE_TEST_SUITE_P(Tls, ReloadTest, testing::Values(true), [](const auto&) { return "WithTls"; });

TEST_P(ReloadTest, ACertificateIsReloadedOnSighup) {
  ASSERT_NO_FATAL_FAILURE(Start());
  const access::TlsPair before = tls_;
  auto connected = Client();
  ASSERT_TRUE(connected.GetMachine().ok());
  WriteCertificate();
  EXPECT_FALSE(Call(tls_).ok());
  server_.Signal(SIGHUP);
  EXPECT_TRUE(WaitFor([&] { return Call(tls_).ok(); })) << server_.Log();
  EXPECT_FALSE(Call(before).ok());
  EXPECT_TRUE(connected.GetMachine().ok()) << "who is in stays in";
  // A pair that does not match is rejected.
  server_.directory().Write("key.pem", before.key);
  server_.Signal(SIGHUP);
  EXPECT_TRUE(WaitFor([&] { return server_.Log().find("the certificate stays as it was") != std::string::npos; }));
  EXPECT_TRUE(Call(tls_).ok());
  ExpectAnswersAndEnds();
}

}  // namespace
}  // namespace gyrebox
