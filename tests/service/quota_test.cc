// Quotas of one user.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "api/server.h"
#include "example_studies.h"
#include "fake_device.h"
#include "lib/client.h"
#include "temporary_directory.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using testing::HasSubstr;

class QuotaTest : public testing::Test {
 protected:
  void Start(const access::Quotas& quotas) {
    auto store = store::Store::Open(directory_.path());
    ASSERT_TRUE(store.ok());
    api::ServerOptions options;
    options.quotas = quotas;
    options.socket = directory_.path() + "/socket";
    auto server = api::Server::Start(options, *std::move(store), std::make_unique<test::FakeDevice>(plan_), "a test");
    ASSERT_TRUE(server.ok()) << server.status();
    server_ = *std::move(server);
  }

  client::Client Client() const { return client::Client("unix:" + directory_.path() + "/socket"); }

  absl::Status Create(int trials) {
    v1::StudySpec spec = test::BareStudy();
    spec.mutable_trials()->set_count(trials);
    return Client().CreateStudy(spec).status();
  }

  /// Expects a refusal whose reason contains this text.
  static void ExpectRefused(const absl::Status& status, const std::string& why) {
    EXPECT_EQ(status.code(), absl::StatusCode::kResourceExhausted) << status;
    EXPECT_THAT(std::string(status.message()), HasSubstr(why));
  }

  test::TemporaryDirectory directory_;
  std::shared_ptr<test::FakePlan> plan_ = std::make_shared<test::FakePlan>();
  std::unique_ptr<api::Server> server_;
};

TEST_F(QuotaTest, OfQueuedRuns) {
  plan_->held = true;
  Start({.queued_runs = 10});
  EXPECT_TRUE(Create(1).ok());
  ASSERT_TRUE(test::WaitFor([&] { return Client().GetMachine()->running_count() == 1; }));
  EXPECT_TRUE(Create(6).ok());
  ExpectRefused(Create(5), "local has 6 runs waiting, and 5 more are over the quota of 10");
  EXPECT_TRUE(Create(4).ok());
  EXPECT_EQ(Client().ListStudies()->studies_size(), 3);
  ExpectRefused(Client().ReplayRun("studies/1/runs/1").status(), "has 10 runs waiting");
  plan_->held = false;
}

TEST_F(QuotaTest, OfQueuedRunsCountsHeldOnes) {
  Start({.queued_runs = 10});
  client::Client client = Client();
  ASSERT_TRUE(client.DrainMachine(true).ok());
  EXPECT_TRUE(Create(10).ok());
  ASSERT_TRUE(client.PauseStudy("studies/1").ok());
  ExpectRefused(Create(1), "local has 10 runs waiting, and 1 more are over the quota of 10");
}

TEST_F(QuotaTest, OfBytesOnDisk) {
  Start({.stored_bytes = 1000});
  EXPECT_TRUE(Create(1).ok());
  ASSERT_TRUE(test::WaitFor([&] { return Client().GetStudy("studies/1")->has_end_time(); }));
  ExpectRefused(Create(1), "bytes on disk; the quota is 1000");
}

TEST_F(QuotaTest, OfBeadsInARun) {
  Start({.device_beads = 99});
  ExpectRefused(Create(1), "more beads than the quota of 99");
}

}  // namespace
}  // namespace gyrebox
