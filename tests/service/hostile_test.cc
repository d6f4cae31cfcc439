// Malicious peers and failing machines: the server keeps answering, or says why it does not start.
#include <arpa/inet.h>
#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sqlite3.h>
#include <sys/socket.h>

#include <random>

#include "certificate.h"
#include "example_studies.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyreboxd.h"
#include "lib/client.h"

namespace gyrebox {
namespace {

using test::Gyreboxd;
using test::Outcome;
using test::WaitFor;
using testing::HasSubstr;

/// A plain connection; closed by its destructor.
class Socket {
 public:
  explicit Socket(int port) : socket_(socket(AF_INET, SOCK_STREAM, 0)) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(static_cast<uint16_t>(port));
    address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    connected_ = connect(socket_, reinterpret_cast<const sockaddr*>(&address), sizeof(address)) == 0;
  }
  ~Socket() { close(socket_); }
  Socket(const Socket&) = delete;
  Socket& operator=(const Socket&) = delete;

  bool connected() const { return connected_; }
  /// Number of bytes that the peer accepted before it closed the connection.
  size_t Send(const std::string& bytes) {
    size_t sent = 0;
    while (sent < bytes.size()) {
      const ssize_t n = send(socket_, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
      if (n <= 0) break;
      sent += static_cast<size_t>(n);
    }
    return sent;
  }
  /// Waits until the peer closes the connection. The limit only ends a failing test.
  bool WaitForEnd() {
    const timeval limit{.tv_sec = 60, .tv_usec = 0};
    setsockopt(socket_, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof(limit));
    char bytes[256];
    ssize_t n = 0;
    while ((n = recv(socket_, bytes, sizeof(bytes), 0)) > 0) {
    }
    return n == 0 || errno == ECONNRESET;
  }

 private:
  const int socket_;
  bool connected_ = false;
};

std::string RandomBytes(size_t count, unsigned seed) {
  std::mt19937 random(seed);
  std::string bytes(count, '\0');
  for (char& byte : bytes) byte = static_cast<char>(random());
  return bytes;
}

/// Sends this many bytes in all, over as many connections as needed, each beginning with a prefix.
void SendInAll(int port, size_t count, const std::string& prefix) {
  size_t sent = 0;
  for (unsigned seed = 1; sent < count && seed < 100'000; ++seed) {
    Socket socket(port);
    ASSERT_TRUE(socket.connected());
    socket.Send(prefix);
    sent += socket.Send(RandomBytes(std::min<size_t>(count - sent, 20'000), seed));
  }
  EXPECT_EQ(sent, count);
}

constexpr size_t kBytes = 1'000'000;
/// RFC 9113, section 3.4: the preface of an HTTP/2 client, here with an empty SETTINGS frame.
const std::string kPreface = "PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + std::string("\0\0\0\4\0\0\0\0\0", 9);

class HostileTest : public testing::Test {
 protected:
  void TearDown() override {
    EXPECT_TRUE(client::Client(endpoint_).GetMachine().ok());
    server_.Signal(SIGTERM);
    EXPECT_EQ(server_.Wait(), 0) << server_.Log();
  }

  void Start() {
    server_.StartAndWait();
    endpoint_ = {server_.address(), "", ""};
  }

  void StartWithTls() {
    const access::TlsPair tls = test::MakeCertificate();
    const std::string cert = server_.directory().Write("cert.pem", tls.certificate);
    const std::string key = server_.directory().Write("key.pem", tls.key);
    std::string token = test::Run({GYREBOXD, "--data", server_.Data(), "--make-admin", "anna"}).out;
    ASSERT_FALSE(token.empty());
    token.pop_back();
    server_.StartAndWait({"--tls-cert", cert, "--tls-key", key});
    endpoint_ = {server_.tcp_address(), tls.certificate, token};
  }

  Gyreboxd server_;
  client::Endpoint endpoint_;
};

TEST_F(HostileTest, RandomBytesDoNotStopIt) {
  Start();
  SendInAll(server_.port(), kBytes, "");
  SendInAll(server_.port(), kBytes, kPreface);
}

TEST_F(HostileTest, RandomBytesDoNotStopItWithTls) {
  StartWithTls();
  SendInAll(server_.port(), kBytes, "");
  // RFC 8446, section 5.1: a handshake record of 256 bytes.
  SendInAll(server_.port(), kBytes, std::string("\x16\x03\x01\x01\x00", 5));
}

TEST_F(HostileTest, HalfOpenConnectionsDoNotStopIt) {
  StartWithTls();
  std::vector<std::unique_ptr<Socket>> silent;
  for (int i = 0; i < 100; ++i) {
    silent.push_back(std::make_unique<Socket>(server_.port()));
    ASSERT_TRUE(silent.back()->connected());
    if (i % 2 == 0) silent.back()->Send(std::string("\x16\x03\x01", 3));
  }
  EXPECT_TRUE(client::Client(endpoint_).GetMachine().ok());
  for (const auto& socket : silent) EXPECT_TRUE(socket->WaitForEnd());
}

TEST_F(HostileTest, MeaninglessMessagesAreRefusedOneByOne) {
  Start();
  const auto studies =
      v1::StudyService::NewStub(grpc::CreateChannel(server_.address(), grpc::InsecureChannelCredentials()));
  int refused = 0;
  for (unsigned seed = 0; seed < 200; ++seed) {
    v1::CreateStudyRequest request;
    (void)request.ParseFromString(RandomBytes(seed, seed));  // sends whatever could be parsed
    request.mutable_spec()->mutable_bed()->set_bead_count(-1);
    grpc::ClientContext context;
    v1::Study study;
    const auto status = studies->CreateStudy(&context, request, &study);
    refused += status.error_code() == grpc::StatusCode::INVALID_ARGUMENT ? 1 : 0;
    if (status.error_code() == grpc::StatusCode::RESOURCE_EXHAUSTED)
      std::this_thread::sleep_for(std::chrono::seconds(1));
  }
  EXPECT_GT(refused, 100);
}

TEST_F(HostileTest, AStreamOfAVanishedClientIsReleased) {
  Start();
  client::Client client(endpoint_);
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_schedule()->set_duration(1e5);
  ASSERT_TRUE(client.CreateStudy(spec).ok());
  ASSERT_TRUE(WaitFor([&] { return client.GetRun("studies/1/runs/1")->step() > 0; }));
  for (int i = 0; i < 3; ++i) {
    const test::TemporaryDirectory directory;
    test::Process watcher({GYREBOX, "--server", server_.address(), "watch", "1", "--json"}, directory.path() + "/out",
                          directory.path() + "/error");
    ASSERT_TRUE(WaitFor([&] { return !test::ReadAll(directory.path() + "/out").empty(); }));
    watcher.Signal(SIGKILL);
    EXPECT_EQ(watcher.Wait(), -SIGKILL);
  }
  const int64_t step = client.GetRun("studies/1/runs/1")->step();
  EXPECT_TRUE(WaitFor([&] { return client.GetRun("studies/1/runs/1")->step() > step; }));
}

// ---- failing machines

std::string WhyNotStarted(const std::vector<std::string>& command) {
  const Outcome outcome = test::Run(command);
  EXPECT_EQ(outcome.code, 3);
  return outcome.out + outcome.error;
}

class DamageTest : public testing::Test {
 protected:
  std::string WhyNotStarted() {
    return gyrebox::WhyNotStarted({GYREBOXD, "--data", data_, "--listen", "127.0.0.1:0", "--device", "cpu"});
  }

  /// Fills a database with some studies, all in its main file.
  void Fill() {
    auto store = *store::Store::Open(data_);
    const v1::StudySpec spec = test::AmplitudeStudy({1, 2, 3, 4}, 50);
    for (int i = 0; i < 5; ++i) ASSERT_TRUE(store->studies().Create(spec, test::NewRuns(spec), "").ok());
  }

  void Flip(int64_t from, int64_t count) {
    std::fstream file(database_, std::ios::in | std::ios::out | std::ios::binary);
    std::string bytes(count, '\0');
    file.seekg(from);
    file.read(bytes.data(), count);
    for (char& byte : bytes) byte = static_cast<char>(~byte);
    file.seekp(from);
    file.write(bytes.data(), count);
    ASSERT_TRUE(file.good());
  }

  test::TemporaryDirectory directory_;
  const std::string data_ = directory_.path() + "/data";
  const std::string database_ = data_ + "/gyrebox.db";
};

constexpr int64_t kPage = 4096;

TEST_F(DamageTest, ADamagedPageIsFoundAtTheStart) {
  Fill();
  const auto pages = static_cast<int64_t>(std::filesystem::file_size(database_)) / kPage;
  ASSERT_GT(pages, 20);
  Flip(kPage * (pages / 2), 200);
  const std::string before = test::ReadAll(database_);
  const std::string why = WhyNotStarted();
  EXPECT_THAT(why, HasSubstr(database_));
  EXPECT_THAT(why, HasSubstr("The database is damaged"));
  EXPECT_THAT(why, HasSubstr("--salvage NEW_DIRECTORY"));
  EXPECT_EQ(test::ReadAll(database_), before) << "what may be saved was touched";
}

TEST_F(DamageTest, AFileThatIsNoDatabaseIsNamed) {
  Fill();
  Flip(0, 16);
  EXPECT_THAT(WhyNotStarted(), HasSubstr(database_ + ": database: file is not a database. The database is damaged"));
}

TEST_F(DamageTest, ADirectoryThatCannotBeWrittenIsNamed) {
  Fill();
  std::filesystem::permissions(directory_.path(), std::filesystem::perms(0755));
  for (const auto& entry : std::filesystem::recursive_directory_iterator(data_)) {
    std::filesystem::permissions(entry.path(), std::filesystem::perms(entry.is_directory() ? 0555 : 0444));
  }
  std::filesystem::permissions(data_, std::filesystem::perms(0555));
  std::vector<std::string> command = {GYREBOXD, "--data", data_, "--listen", "127.0.0.1:0", "--device", "cpu"};
  if (geteuid() == 0) {  // root ignores permissions
    const std::vector<std::string> nobody = {"/usr/bin/setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"};
    command.insert(command.begin(), nobody.begin(), nobody.end());
  }
  const std::string why = gyrebox::WhyNotStarted(command);
  EXPECT_THAT(why, HasSubstr(data_ + "/lock: Permission denied"));
  EXPECT_THAT(why, HasSubstr("may write in"));
  std::filesystem::permissions(data_, std::filesystem::perms(0755));
}

TEST_F(DamageTest, NothingIsOrderedByTheClock) {
  Fill();
  // Emulates a clock that was set back by an hour after the first studies.
  sqlite3* database = nullptr;
  ASSERT_EQ(sqlite3_open(database_.c_str(), &database), SQLITE_OK);
  ASSERT_EQ(sqlite3_exec(database, "UPDATE study SET create_time = create_time + 3600000", nullptr, nullptr, nullptr),
            SQLITE_OK);
  sqlite3_close(database);
  auto store = *store::Store::Open(data_);
  const v1::StudySpec spec = test::AmplitudeStudy({1}, 1);
  const auto late = store->studies().Create(spec, test::NewRuns(spec), "");
  ASSERT_TRUE(late.ok());
  EXPECT_EQ(late->name(), "studies/6");
  EXPECT_LT(late->create_time().seconds(), store->studies().Get(5)->create_time().seconds());
  EXPECT_EQ(store->studies().List(100, 10)->front().name(), "studies/6");  // newest first
  EXPECT_EQ(store->queue().ListWaiting()->front().study, 1);               // oldest first
  // A run that ends before it started, by such a clock, has ended all the same.
  const std::vector<int64_t> first = {1};
  ASSERT_TRUE(store->queue().Start(6, first, "cpu").ok());
  std::vector<store::RunUpdate> ended(1);
  ended[0].number = 1;
  ended[0].state = v1::Run::STATE_FINISHED;
  ASSERT_TRUE(store->runs().RecordProgress(6, ended).ok());
  EXPECT_EQ(store->studies().Get(6)->state(), v1::Study::STATE_FINISHED);
  EXPECT_EQ(store->runs().ListChanged(6, {}, 10)->runs.size(), 1u);
}

}  // namespace
}  // namespace gyrebox
