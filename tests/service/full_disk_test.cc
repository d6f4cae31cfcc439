// A real server whose data directory is on a file system of a few megabytes that runs full.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sched.h>
#include <sys/mount.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <thread>

#include "gyreboxd.h"
#include "health.h"

namespace gyrebox {
namespace {

using test::Gyreboxd;
using test::WaitFor;
using testing::HasSubstr;

constexpr char kRun[] = "studies/1/runs/1";
const std::vector<std::string> kOften = {"--checkpoint-seconds", "0.1"};

/// Gives this process and its children a private mount namespace, as root or not (user_namespaces(7)).
void LeaveMounts() {
  const std::string user = std::to_string(geteuid()), group = std::to_string(getegid());
  const bool root = geteuid() == 0;
  ASSERT_EQ(unshare(root ? CLONE_NEWNS : CLONE_NEWNS | CLONE_NEWUSER), 0) << std::strerror(errno);
  if (root) return;
  std::ofstream("/proc/self/uid_map") << "0 " << user << " 1";
  std::ofstream("/proc/self/setgroups") << "deny";
  std::ofstream("/proc/self/gid_map") << "0 " << group << " 1";
}

/// Mounts a file system in memory.
void MountSmallDisk(const std::string& at) {
  std::filesystem::create_directories(at);
  ASSERT_NO_FATAL_FAILURE(LeaveMounts());
  ASSERT_EQ(mount("none", "/", nullptr, MS_REC | MS_PRIVATE, nullptr), 0) << std::strerror(errno);
  ASSERT_EQ(mount("none", at.c_str(), "tmpfs", 0, "size=16m"), 0) << std::strerror(errno);
}

v1::StudySpec Study() {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(200);
  spec.mutable_drive()->mutable_sine()->set_amplitude(20);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_thermal()->set_temperature(0.002);
  spec.mutable_schedule()->set_duration(60);
  spec.mutable_trials()->set_count(2);
  return spec;
}

class FullDiskTest : public testing::Test {
 protected:
  void SetUp() override {
    ASSERT_NO_FATAL_FAILURE(MountSmallDisk(server_.Data()));
    ASSERT_NO_FATAL_FAILURE(server_.StartAndWait(kOften));
    ASSERT_TRUE(Client().CreateStudy(Study()).ok());
    ASSERT_TRUE(WaitFor([&] { return Client().GetRun(kRun)->step() > 2000; }));
  }

  client::Client Client() const { return client::Client(server_.address()); }
  bool Serves() const {
    const auto channel = grpc::CreateChannel(server_.address(), grpc::InsecureChannelCredentials());
    return test::HealthOf(channel) == test::Serving::SERVING;
  }

  std::string Filler() const { return server_.Data() + "/filler"; }

  /// Fills the file system to the last byte.
  void FillUp() const {
    for (const std::streamsize size : {65536, 1}) {
      const std::string bytes(static_cast<size_t>(size), 'x');
      std::ofstream out(Filler(), std::ios::binary | std::ios::app);
      while (out.write(bytes.data(), size) && out.flush()) {
      }
    }
  }

  void FillUntilItStandsStill() const {
    FillUp();
    ASSERT_TRUE(WaitFor([&] { return !Client().GetMachine()->trouble().empty(); })) << server_.Log();
  }

  /// Samples of the study, and the final states of its runs.
  static std::string Results(const Gyreboxd& server) {
    client::Client client(server.address());
    std::string all = client.TabulateStudy("studies/1", "")->SerializeAsString();
    for (const char* run : {"1", "2"}) {
      const std::string name = std::string("studies/1/runs/") + run;
      EXPECT_EQ(client.GetRun(name)->state(), v1::Run::STATE_FINISHED);
      all += client.ListSamples(name)->SerializeAsString();
      all += test::ReadAll(server.Data() + "/states/1-" + run + "-120000.end");
    }
    return all;
  }

  void ExpectTheResultsOfAnUndisturbedServer() const {
    Gyreboxd alone;
    ASSERT_NO_FATAL_FAILURE(alone.StartAndWait(kOften));
    ASSERT_TRUE(client::Client(alone.address()).CreateStudy(Study()).ok());
    alone.WaitForEnd("studies/1");
    EXPECT_TRUE(Results(server_) == Results(alone));
  }

  Gyreboxd server_;
};

TEST_F(FullDiskTest, RunsWaitSayWhyAndContinueWhenThereIsSpace) {
  EXPECT_TRUE(Serves());
  ASSERT_NO_FATAL_FAILURE(FillUntilItStandsStill());
  EXPECT_TRUE(WaitFor([&] { return !Serves(); }));
  EXPECT_THAT(Client().GetMachine()->trouble(), HasSubstr("the store refuses what is to be written"));
  const int64_t step = Client().GetRun(kRun)->step();
  const auto refused = Client().CreateStudy(Study());
  EXPECT_FALSE(refused.ok());
  std::this_thread::sleep_for(std::chrono::milliseconds(500));
  EXPECT_EQ(Client().GetRun(kRun)->step(), step);
  std::filesystem::remove(Filler());
  server_.WaitForEnd("studies/1");
  EXPECT_EQ(Client().GetMachine()->trouble(), "");
  EXPECT_TRUE(WaitFor([&] { return Serves(); }));
  ExpectTheResultsOfAnUndisturbedServer();
}

TEST_F(FullDiskTest, AServerStoppedOnAFullDiskResumesFromItsLastCheckpoints) {
  ASSERT_NO_FATAL_FAILURE(FillUntilItStandsStill());
  server_.Signal(SIGTERM);
  EXPECT_EQ(server_.Wait(), 0) << server_.Log();
  std::filesystem::remove(Filler());
  ASSERT_NO_FATAL_FAILURE(server_.StartAndWait(kOften));
  server_.WaitForEnd("studies/1");
  ExpectTheResultsOfAnUndisturbedServer();
}

TEST_F(FullDiskTest, AnAbruptEndOnAFullDiskLosesNothingMore) {
  ASSERT_NO_FATAL_FAILURE(FillUntilItStandsStill());
  server_.Kill();
  std::filesystem::remove(Filler());
  ASSERT_NO_FATAL_FAILURE(server_.StartAndWait(kOften));
  server_.WaitForEnd("studies/1");
  ExpectTheResultsOfAnUndisturbedServer();
}

}  // namespace
}  // namespace gyrebox
