// Admission of connections: who, how many and for how long; the server's health; files private to their user.
#include <arpa/inet.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>
#include <sys/stat.h>

#include <atomic>
#include <filesystem>

#include "access/connections.h"
#include "access/descriptor_limit.h"
#include "access/listening.h"
#include "access/private_files.h"
#include "api/self_call.h"
#include "discovery/address_file.h"
#include "example_studies.h"
#include "group_server.h"
#include "health.h"
#include "process.h"
#include "raw_http2.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using access::ConnectionBounds;
using access::Connections;
using access::Peer;
using std::chrono::milliseconds;
using std::chrono::seconds;
using test::HealthOf;
using test::RawHttp2;
using test::Serving;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr char kCheck[] = "/grpc.health.v1.Health/Check";
constexpr char kGetMachine[] = "/gyrebox.v1.MachineService/GetMachine";
const Connections::Clock::time_point kStart;

Peer Stranger(const std::string& network, int port) {
  return {.name = "ipv4:" + network + ":" + std::to_string(port), .network = network};
}

TEST(ConnectionsTest, AreBoundedForEachAddress) {
  Connections connections({.in_all = 100, .of_address = 2});
  const auto first = connections.Add(Stranger("192.0.2.1", 1), kStart);
  EXPECT_TRUE(connections.Add(Stranger("192.0.2.1", 2), kStart));
  EXPECT_FALSE(connections.Add(Stranger("192.0.2.1", 3), kStart));
  EXPECT_TRUE(connections.Add(Stranger("192.0.2.2", 1), kStart));
  connections.Remove(*first);
  EXPECT_TRUE(connections.Add(Stranger("192.0.2.1", 3), kStart));
  EXPECT_EQ(connections.turned_away(), 1);
  for (int port = 1; port < 20; ++port) {
    EXPECT_TRUE(connections.Add({.name = std::to_string(port), .network = "127.0.0.1", .is_local = true}, kStart));
  }
}

TEST(ConnectionsTest, AreBoundedInTotalButAdmitTheServersOwnUser) {
  Connections connections({.in_all = 16, .of_address = 100});
  for (int i = 0; i < 14; ++i) EXPECT_TRUE(connections.Add(Stranger("192.0.2." + std::to_string(i), 1), kStart));
  EXPECT_FALSE(connections.Add(Stranger("192.0.2.99", 1), kStart));
  const Peer own{.name = "unix:", .network = "", .is_local = true, .is_unix = true};
  EXPECT_TRUE(connections.Add(own, kStart));
  EXPECT_TRUE(connections.Add(own, kStart));
  EXPECT_FALSE(connections.Add(own, kStart));
  EXPECT_EQ(connections.count(), 16);
}

TEST(ConnectionsTest, OneWithoutACallIsOverdue) {
  Connections connections({.in_all = 100, .patience = seconds(10), .stranger = seconds(60)});
  const auto silent = connections.Add(Stranger("a", 1), kStart), asks = connections.Add(Stranger("a", 2), kStart),
             calls = connections.Add(Stranger("a", 3), kStart);
  connections.NoteCall("ipv4:a:2", /*known=*/false, 0);
  connections.NoteCall("ipv4:a:3", /*known=*/true, 0);
  connections.NoteCall("ipv4:a:4", /*known=*/true, 0);  // of a closed connection
  EXPECT_THAT(connections.Overdue(kStart + milliseconds(9999)), IsEmpty());
  EXPECT_THAT(connections.Overdue(kStart + seconds(10)), ElementsAre(*silent));
  EXPECT_THAT(connections.Overdue(kStart + seconds(59)), IsEmpty());
  connections.NoteCall("ipv4:a:2", /*known=*/false, 0);  // a repeated call gains no time
  EXPECT_THAT(connections.Overdue(kStart + seconds(60)), ElementsAre(*asks));
  EXPECT_THAT(connections.Overdue(kStart + seconds(100'000)), IsEmpty()) << *calls;
}

TEST(ConnectionsTest, AReusedPortIsANewConnection) {
  Connections connections({.in_all = 100, .patience = seconds(10)});
  const auto before = connections.Add(Stranger("a", 1), kStart);
  const auto after = connections.Add(Stranger("a", 1), kStart + seconds(5));
  connections.Remove(*before);
  EXPECT_THAT(connections.Overdue(kStart + seconds(15)), ElementsAre(*after));
}

TEST(ConnectionsTest, OneWithBrokenCallsIsOverdueAtOnce) {
  Connections connections({.in_all = 100, .broken_calls = 10});
  const Peer good = Stranger("192.0.2.1", 1), bad = Stranger("192.0.2.2", 2);
  ASSERT_TRUE(connections.Add(good, kStart) && connections.Add(bad, kStart));
  int woken = 0;
  connections.SetWake([&] { ++woken; });
  for (int i = 0; i < 100; ++i) {
    connections.NoteBegun(good.name);
    connections.NoteCall(good.name, true, 0);
  }
  connections.NoteCall(bad.name, true, 0);
  for (int i = 0; i < 9; ++i) connections.NoteBegun(bad.name);
  EXPECT_THAT(connections.Overdue(kStart), IsEmpty());
  EXPECT_EQ(woken, 0);
  connections.NoteBegun(bad.name);
  EXPECT_EQ(woken, 1);
  connections.NoteCall(bad.name, true, 0);  // too late
  EXPECT_THAT(connections.Overdue(kStart), ElementsAre(2));
  connections.NoteBegun(bad.name);
  EXPECT_THAT(connections.Overdue(kStart), IsEmpty()) << "named once";
}

TEST(ConnectionsTest, OneThatSendsMuchOutsideCallsIsOverdue) {
  Connections connections({.in_all = 100, .bytes_of_one = 1'000'000, .bytes_of_all = 2'500'000});
  const Peer peers[] = {Stranger("192.0.2.1", 1), Stranger("192.0.2.2", 2), Stranger("192.0.2.3", 3),
                        Stranger("192.0.2.4", 4)};
  for (const Peer& peer : peers) {
    ASSERT_TRUE(connections.Add(peer, kStart));
    connections.NoteCall(peer.name, true, 0);
  }
  access::Traffic traffic;
  for (int i = 0; i < 100; ++i) {  // calls of 900 kB, all completed
    traffic.received += 450'000;
    connections.NoteTraffic(1, traffic);
    traffic.received += 450'000;
    connections.NoteCall(peers[0].name, true, 900'000);
    connections.NoteTraffic(1, traffic);
  }
  connections.NoteTraffic(2, {.received = 30'000'000, .sent = 10'000'000'000});  // a reader of streams
  EXPECT_THAT(connections.Overdue(kStart), IsEmpty());
  connections.NoteTraffic(3, {.received = 1'100'000, .sent = 0});
  EXPECT_THAT(connections.Overdue(kStart), ElementsAre(3));
  connections.Remove(3);
  connections.NoteTraffic(1, {.received = traffic.received + 900'000, .sent = 0});
  connections.NoteTraffic(2, {.received = 30'850'000, .sent = 10'000'000'000});
  EXPECT_THAT(connections.Overdue(kStart), IsEmpty());
  connections.NoteTraffic(4, {.received = 800'000, .sent = 0});
  EXPECT_THAT(connections.Overdue(kStart), ElementsAre(1)) << "all together have too much; the largest goes";
}

TEST(PeerTest, IsNamedAsGrpcNamesIt) {
  sockaddr_storage address{};
  auto& four = reinterpret_cast<sockaddr_in&>(address);
  four.sin_family = AF_INET;
  four.sin_port = htons(80);
  inet_pton(AF_INET, "192.0.2.7", &four.sin_addr);
  EXPECT_EQ(access::PeerOf(address).name, "ipv4:192.0.2.7:80");
  EXPECT_FALSE(access::PeerOf(address).is_local);
  auto& six = reinterpret_cast<sockaddr_in6&>(address);
  six.sin6_family = AF_INET6;
  six.sin6_port = htons(80);
  inet_pton(AF_INET6, "::ffff:127.0.0.9", &six.sin6_addr);
  EXPECT_EQ(access::PeerOf(address).name, "ipv4:127.0.0.9:80");
  EXPECT_TRUE(access::PeerOf(address).is_local);
  inet_pton(AF_INET6, "2001:db8::1", &six.sin6_addr);
  const Peer one = access::PeerOf(address);
  EXPECT_EQ(one.name, "ipv6:%5B2001:db8::1%5D:80");
  inet_pton(AF_INET6, "2001:db8::ffff:2", &six.sin6_addr);
  EXPECT_EQ(access::PeerOf(address).network, one.network);
  inet_pton(AF_INET6, "2001:db8:0:1::1", &six.sin6_addr);
  EXPECT_NE(access::PeerOf(address).network, one.network);
}

TEST(DescriptorLimitTest, ReservesDescriptorsForTheStore) {
  EXPECT_EQ(access::MostConnections(256), 80);
  EXPECT_EQ(access::MostConnections(1'000'000), 1000);
  EXPECT_EQ(access::MostConnections(10), 8);
}

TEST(ListeningTest, RefusesAPathThatNoSocketCanHave) {
  const auto refused = access::ListenOnUnix("/tmp/" + std::string(104, 'x'));
  EXPECT_EQ(refused.status().code(), absl::StatusCode::kInvalidArgument);
  EXPECT_THAT(std::string(refused.status().message()), HasSubstr("has 109 bytes; give --socket a path of 1 to 107"));
}

TEST(ListeningTest, ReplacesAStaleSocketAndNothingElse) {
  const test::TemporaryDirectory directory;
  const std::string path = directory.path() + "/socket", file = directory.Write("file", "text");
  {
    const auto first = access::ListenOnUnix(path);
    ASSERT_TRUE(first.ok()) << first.status();
    EXPECT_EQ(access::ListenOnUnix(path).status().code(), absl::StatusCode::kFailedPrecondition);
  }
  EXPECT_TRUE(access::ListenOnUnix(path).ok());
  EXPECT_THAT(std::string(access::ListenOnUnix(file).status().message()), HasSubstr("a file is there already"));
  EXPECT_EQ(test::ReadAll(file), "text");
}

// ---- over the wire

api::ServerOptions WithBounds(const ConnectionBounds& bounds) {
  api::ServerOptions options = test::Unhindered();
  options.connections = bounds;
  return options;
}

int PortOf(const std::string& address) { return std::stoi(address.substr(address.rfind(':') + 1)); }

/// An IPv4 address of this machine other than loopback; empty if it has none.
std::string AddressOfThisMachine() {
  ifaddrs* all = nullptr;
  if (getifaddrs(&all) != 0) return "";
  std::string found;
  for (const ifaddrs* one = all; one != nullptr && found.empty(); one = one->ifa_next) {
    if (one->ifa_addr == nullptr || one->ifa_addr->sa_family != AF_INET || (one->ifa_flags & IFF_LOOPBACK) != 0)
      continue;
    char text[INET_ADDRSTRLEN] = "";
    inet_ntop(AF_INET, &reinterpret_cast<const sockaddr_in*>(one->ifa_addr)->sin_addr, text, sizeof(text));
    found = text;
  }
  freeifaddrs(all);
  return found;
}

TEST(StrangerTest, SilentPeersAreDisconnected) {
  test::GroupServer group(WithBounds({.in_all = 100, .patience = milliseconds(1000), .stranger = seconds(3600)}));
  const int port = PortOf(group.server().tcp_address());
  const test::Headers olga = {{"authorization", "Bearer " + group.secret("olga")}};
  RawHttp2 bare(port, false), stalled(port, false), secure(port, true), begun(port, true), refused(port, true),
      half(port, true), known(port, true), asks(port, true);
  stalled.Send(std::string("\x16\x03\x01", 3));  // the beginning of a handshake
  for (RawHttp2* one : {&begun, &refused, &half, &known, &asks}) ASSERT_TRUE(one->Begin());
  ASSERT_TRUE(refused.Call(1, kGetMachine, {{"authorization", "Bearer gyrebox_guess"}}));
  ASSERT_TRUE(half.Open(1, kGetMachine, olga));  // a call that never completes
  ASSERT_TRUE(known.Call(1, kGetMachine, olga));
  ASSERT_TRUE(asks.Call(1, kCheck, {}));
  EXPECT_TRUE(known.ReadToEnd(1));
  EXPECT_TRUE(asks.ReadToEnd(1));
  for (RawHttp2* one : {&bare, &stalled, &secure, &begun, &refused, &half}) EXPECT_TRUE(one->ReadToClose());
  EXPECT_TRUE(known.Call(3, kGetMachine, olga) && known.ReadToEnd(3)) << "who made a call may stay";
  EXPECT_TRUE(asks.Call(3, kCheck, {}) && asks.ReadToEnd(3)) << "for longer, who asked for health";
}

TEST(StrangerTest, HealthChecksDoNotKeepAConnection) {
  test::GroupServer group(WithBounds({.in_all = 100, .patience = seconds(10), .stranger = milliseconds(500)}));
  RawHttp2 asks(PortOf(group.server().tcp_address()), true);
  ASSERT_TRUE(asks.Begin());
  ASSERT_TRUE(asks.Call(1, kCheck, {}));
  EXPECT_TRUE(asks.ReadToEnd(1));
  EXPECT_TRUE(asks.ReadToClose());
}

TEST(StrangerTest, TooManyAreRefusedAndSlotsAreReleased) {
  test::TestServer server(std::make_shared<test::FakePlan>(), WithBounds({.in_all = 16, .patience = seconds(3600)}));
  const int port = PortOf(server.tcp_address());
  std::vector<std::unique_ptr<RawHttp2>> many;
  for (int i = 0; i < 30; ++i) many.push_back(std::make_unique<RawHttp2>(port, false));
  EXPECT_TRUE(many.back()->ReadToClose());
  EXPECT_TRUE(client::Client(server.address()).GetMachine().ok()) << "the user of the server has room of their own";
  many.clear();
  EXPECT_TRUE(test::WaitFor([&] { return api::CallHealth("127.0.0.1:" + std::to_string(port), false).ok(); }));
}

TEST(StrangerTest, OneRemoteMachineIsLimitedToItsFairShare) {
  const std::string other = AddressOfThisMachine();
  if (other.empty()) GTEST_SKIP() << "this machine has no address but loopback";
  test::GroupServer group(WithBounds({.in_all = 1000, .of_address = 5, .patience = seconds(3600)}));
  group.server().Stop();
  group.server().Start("0.0.0.0:0");
  const int port = PortOf(group.server().tcp_address());
  std::vector<std::unique_ptr<RawHttp2>> many;
  for (int i = 0; i < 8; ++i) many.push_back(std::make_unique<RawHttp2>(port, false, other));
  for (int i = 5; i < 8; ++i) EXPECT_TRUE(many[static_cast<size_t>(i)]->ReadToClose()) << i;
  client::Client olga({"127.0.0.1:" + std::to_string(port), group.certificate(), group.secret("olga")});
  EXPECT_TRUE(olga.GetMachine().ok()) << "others come in";
  many.erase(many.begin());
  EXPECT_TRUE(test::WaitFor([&] { return RawHttp2(port, true, other).connected(); })) << "room is given back";
}

TEST(LocalTest, AnAddressNeedsTheTokenOfThisStart) {
  test::TestServer server;
  const std::string address = server.tcp_address(), secret = server.server().local_secret();
  EXPECT_TRUE(absl::IsUnauthenticated(client::Client(address).GetMachine().status()));
  EXPECT_TRUE(absl::IsUnauthenticated(client::Client({address, "", access::NewSecret()}).GetMachine().status()));
  client::Client local({address, "", secret});
  EXPECT_EQ(local.CreateStudy(test::BareStudy())->owner(), "local");
  server.Stop();
  server.Start();
  EXPECT_TRUE(absl::IsUnauthenticated(client::Client({server.tcp_address(), "", secret}).GetMachine().status()));
}

TEST(LocalTest, IPv6IsServedToo) {
  test::TestServer server;
  server.Stop();
  server.Start("[::1]:0");
  client::Client local({server.tcp_address(), "", server.server().local_secret()});
  EXPECT_TRUE(local.GetMachine().ok()) << local.GetMachine().status();
}

// ---- health of the server

TEST(HealthTest, AServerWhoseDeviceIsLostDoesNotServe) {
  api::ServerOptions options = test::Unhindered();
  std::atomic<int> left = 0;
  options.executor.leave = [&](int code) { left = code; };
  test::TestServer server(std::make_shared<test::FakePlan>(), options);
  EXPECT_EQ(HealthOf(server.Connect()), Serving::SERVING);
  server.plan().lost = true;
  ASSERT_TRUE(client::Client(server.address()).CreateStudy(test::BareStudy()).ok());
  EXPECT_TRUE(test::WaitFor([&] { return HealthOf(server.Connect()) == Serving::NOT_SERVING; }));
  EXPECT_EQ(left, executor::kDeviceLostExit);
}

TEST(SelfCallTest, EndsTheServerAfterThreeConsecutiveFailures) {
  absl::Status answer;
  int64_t turned_away = 0;
  int given_up = 0;
  bool full = false;
  api::SelfCall self(
      [&] {
        if (full) ++turned_away;
        return answer;
      },
      [&] { return turned_away; }, [&] { ++given_up; });
  const auto call = [&](const absl::Status& status) {
    answer = status;
    self.Call();
  };
  const absl::Status deaf = absl::DeadlineExceededError("no answer");
  for (const auto& status : {deaf, deaf, absl::OkStatus(), deaf, deaf}) call(status);
  EXPECT_EQ(given_up, 0);
  full = true;  // refused connections show that it still accepts
  for (int i = 0; i < 10; ++i) call(deaf);
  EXPECT_EQ(given_up, 0);
  full = false;
  call(deaf);
  EXPECT_EQ(given_up, 1);
}

TEST(SelfCallTest, ReachesAServerWithAndWithoutTls) {
  const test::TestServer plain;
  test::GroupServer group;
  EXPECT_TRUE(api::CallHealth(plain.tcp_address(), false).ok());
  EXPECT_TRUE(api::CallHealth(group.server().tcp_address(), true).ok());
  EXPECT_FALSE(api::CallHealth(group.server().tcp_address(), false).ok());
}

TEST(SelfCallTest, AServerThatCannotReachItselfExitsWithItsOwnCode) {
  api::ServerOptions options = test::Unhindered();
  std::atomic<int> left = 0;
  options.executor.leave = [&](int code) { left = code; };
  options.self_call = [] { return absl::DeadlineExceededError("deaf"); };
  const test::TestServer server(std::make_shared<test::FakePlan>(), options);
  EXPECT_TRUE(test::WaitFor([&] { return left != 0; }));
  EXPECT_EQ(left, api::kDeafExit);
}

// ---- files

TEST(AddressFileTest, IsFoundByTheUserAlone) {
  const test::TemporaryDirectory directory;
  const std::string folder = directory.path() + "/state/gyrebox";
  const access::LocalServer server{"127.0.0.1:7000", "/data/socket", "secret"};
  ASSERT_EQ(access::WriteAddressFile(folder, server), "");
  const std::string path = folder + "/127.0.0.1_7000";
  struct stat there {};
  ASSERT_EQ(lstat(path.c_str(), &there), 0);
  EXPECT_EQ(there.st_mode & 07777, 0600u);
  ASSERT_EQ(lstat(folder.c_str(), &there), 0);
  EXPECT_EQ(there.st_mode & 07777, 0700u);
  for (const char* address : {"127.0.0.1:7000", "localhost:7000"}) {
    const auto found = access::FindLocalServer(folder, address);
    ASSERT_TRUE(found) << address;
    EXPECT_EQ(found->socket, server.socket);
    EXPECT_EQ(found->token, server.token);
  }
  EXPECT_FALSE(access::FindLocalServer(folder, "127.0.0.1:7001"));
  EXPECT_THAT(access::RunningLocalServers(folder), IsEmpty());
  // A file that others can read or may have written is ignored.
  std::filesystem::permissions(path, std::filesystem::perms(0644));
  EXPECT_FALSE(access::FindLocalServer(folder, server.address));
  std::filesystem::permissions(path, std::filesystem::perms(0600));
  access::RemoveAddressFile(folder, {"127.0.0.1:7000", "", "of another start"});
  EXPECT_TRUE(access::FindLocalServer(folder, server.address));
  access::RemoveAddressFile(folder, server);
  EXPECT_FALSE(access::FindLocalServer(folder, server.address));
}

TEST(PrivateFilesTest, ADirectoryWithOtherFilesIsLeftAlone) {
  const test::TemporaryDirectory directory;
  directory.Write("letters.txt", "");
  std::filesystem::permissions(directory.path(), std::filesystem::perms(0755));
  EXPECT_TRUE(access::MakeDataPrivate(directory.path()).ok());
  EXPECT_EQ(std::filesystem::status(directory.path()).permissions(), std::filesystem::perms(0755));
}

TEST(PrivateFilesTest, ANewFileDoesNotReplaceAnother) {
  const test::TemporaryDirectory directory;
  const std::string path = directory.path() + "/token";
  EXPECT_TRUE(access::WriteNewPrivate(path, "one").ok());
  EXPECT_EQ(std::filesystem::status(path).permissions(), std::filesystem::perms(0600));
  EXPECT_EQ(access::WriteNewPrivate(path, "two").code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_EQ(test::ReadAll(path), "one");
}

}  // namespace
}  // namespace gyrebox
