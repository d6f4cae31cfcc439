// The real gyreboxd: options, signals, abrupt ends.
#include <gmock/gmock.h>
#include <grpcpp/grpcpp.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <thread>

#include "grpc/health/v1/health.grpc.pb.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyreboxd.h"
#include "lib/client.h"

namespace gyrebox {
namespace {

using test::Outcome;
using test::WaitFor;
using testing::HasSubstr;

/// A gyreboxd on a free port.
class ServerProcessTest : public testing::Test {
 protected:
  void Start() {
    server_.StartAndWait();
    address_ = server_.address();
  }

  std::string Data() const { return server_.Data(); }
  std::string Log() const { return server_.Log(); }

  v1::StudySpec Spec(double duration, int trials = 1) {
    v1::StudySpec spec;
    spec.mutable_bed()->set_bead_count(100);
    spec.mutable_drive()->mutable_sine()->set_amplitude(4);
    spec.mutable_drive()->mutable_sine()->set_frequency(1);
    spec.mutable_schedule()->set_duration(duration);
    spec.mutable_trials()->set_count(trials);
    return spec;
  }

  std::shared_ptr<grpc::Channel> Connect() const {
    return grpc::CreateChannel(address_, grpc::InsecureChannelCredentials());
  }

  bool WaitForEnd(const std::string& name) {
    return WaitFor([&] {
      const auto study = client::Client(address_).GetStudy(name);
      return study.ok() && study->has_end_time();
    });
  }

  test::Gyreboxd server_;
  std::string address_;
};

TEST_F(ServerProcessTest, RunsAStudyAndEndsOnSigterm) {
  Start();
  client::Client client(address_);
  const auto study = client.CreateStudy(Spec(2, 2));
  ASSERT_TRUE(study.ok()) << study.status();
  ASSERT_TRUE(WaitForEnd(study->name()));
  EXPECT_EQ(client.GetStudy(study->name())->run_counts().finished_count(), 2);
  EXPECT_EQ(client.ListSamples(study->name() + "/runs/2")->samples_size(), 17);
  server_.Signal(SIGTERM);
  EXPECT_EQ(server_.Wait(), 0) << Log();
  EXPECT_THAT(Log(), HasSubstr("stopped"));
}

TEST_F(ServerProcessTest, EndsDespiteOpenStreams) {
  Start();
  client::Client client(address_);
  const auto study = client.CreateStudy(Spec(1e5));
  ASSERT_TRUE(study.ok()) << study.status();
  const auto runs = v1::RunService::NewStub(Connect());
  const auto health = grpc::health::v1::Health::NewStub(Connect());
  grpc::ClientContext watch_context, slow_context, health_context;
  v1::WatchRunsRequest request;
  request.set_parent(study->name());
  request.set_with_samples(true);
  const auto watch = runs->WatchRuns(&watch_context, request);
  const auto slow = runs->WatchRuns(&slow_context, request);  // never read
  const auto health_watch = health->Watch(&health_context, {});
  v1::WatchRunsResponse message;
  ASSERT_TRUE(watch->Read(&message));
  grpc::health::v1::HealthCheckResponse serving;
  ASSERT_TRUE(health_watch->Read(&serving));
  EXPECT_EQ(serving.status(), grpc::health::v1::HealthCheckResponse::SERVING);

  server_.Signal(SIGINT);
  bool going_away = false;
  while (watch->Read(&message)) going_away = going_away || message.has_going_away();
  EXPECT_TRUE(going_away);
  EXPECT_EQ(watch->Finish().error_code(), grpc::StatusCode::UNAVAILABLE);
  EXPECT_EQ(server_.Wait(), 0) << Log();
  while (health_watch->Read(&serving)) {
  }
  EXPECT_NE(health_watch->Finish().error_code(), grpc::StatusCode::OK);
  slow_context.TryCancel();
  while (slow->Read(&message)) {
  }
  EXPECT_NE(slow->Finish().error_code(), grpc::StatusCode::OK);
}

TEST_F(ServerProcessTest, RestartsRunsInterruptedByAnAbruptEnd) {
  Start();
  {
    client::Client client(address_);
    ASSERT_TRUE(client.CreateStudy(Spec(2)).ok());
    ASSERT_TRUE(WaitForEnd("studies/1"));
    ASSERT_TRUE(client.CreateStudy(Spec(100)).ok());
    ASSERT_TRUE(WaitFor([&] { return client.GetRun("studies/2/runs/1")->step() > 0; }));
  }
  server_.Signal(SIGKILL);
  EXPECT_EQ(server_.Wait(), -SIGKILL);
  Start();
  client::Client client(address_);
  EXPECT_EQ(client.GetStudy("studies/1")->state(), v1::Study::STATE_FINISHED);
  ASSERT_TRUE(WaitForEnd("studies/2"));
  const auto series = client.ListSamples("studies/2/runs/1");
  ASSERT_TRUE(series.ok());
  ASSERT_EQ(series->samples_size(), 801);
  for (int i = 0; i < series->samples_size(); ++i) ASSERT_EQ(series->samples(i).sequence(), i);
  EXPECT_EQ(client.GetStudy("studies/2")->run_counts().finished_count(), 1);
}

TEST_F(ServerProcessTest, KeepsGrowthAndDeletionOverAnAbruptEnd) {
  Start();
  for (const char* name : {"studies/1", "studies/2"}) {
    ASSERT_TRUE(client::Client(address_).CreateStudy(Spec(2)).ok());
    ASSERT_TRUE(WaitForEnd(name));
  }
  v1::GrowStudyRequest request;
  request.set_name("studies/1");
  request.set_add_trials(3);
  ASSERT_TRUE(client::Client(address_).GrowStudy(request).ok());
  ASSERT_TRUE(client::Client(address_).DeleteStudy("studies/2").ok());
  server_.Kill();
  Start();
  ASSERT_TRUE(WaitForEnd("studies/1"));
  client::Client client(address_);
  EXPECT_EQ(client.GetStudy("studies/1")->run_counts().finished_count(), 4);
  EXPECT_EQ(client.ListSamples("studies/1/runs/4")->samples_size(), 17);
  EXPECT_TRUE(absl::IsNotFound(client.GetStudy("studies/2").status()));
  EXPECT_FALSE(std::filesystem::exists(Data() + "/states/2-1-4000.end"));
  EXPECT_TRUE(std::filesystem::exists(Data() + "/states/1-1-4000.end"));
}

TEST_F(ServerProcessTest, ASecondServerOnTheSameDataIsRefused) {
  Start();
  const Outcome second = test::Run({GYREBOXD, "--data", Data(), "--listen", "127.0.0.1:0"});
  EXPECT_EQ(second.code, 3);
  EXPECT_THAT(second.out + second.error, HasSubstr("another server uses"));
  EXPECT_TRUE(client::Client(address_).GetMachine().ok());
}

TEST_F(ServerProcessTest, ASecondServerOnTheSamePortIsRefused) {
  Start();
  const std::string taken = server_.tcp_address();
  const Outcome second = test::Run({GYREBOXD, "--data", Data() + "2", "--listen", taken});
  EXPECT_EQ(second.code, 3);
  EXPECT_THAT(second.out + second.error, HasSubstr("cannot listen on " + taken));
}

TEST_F(ServerProcessTest, BadOptionsAreRefused) {
  EXPECT_EQ(test::Run({GYREBOXD}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--data", Data(), "--threads", "-1"}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--data", Data(), "--fancy"}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--data", Data(), "--keep-days", "-1"}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--data", Data(), "--keep-gib", "much"}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--data", Data(), "--warn-days", "0"}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--data", Data(), "--listen", "0.0.0.0:0"}).code, 2);
  EXPECT_EQ(test::Run({GYREBOXD, "--version"}).code, 0);
}

TEST_F(ServerProcessTest, AMissingDeviceIsRefusedWithTheReason) {
  const Outcome outcome = test::Run({GYREBOXD, "--data", Data(), "--listen", "127.0.0.1:0", "--device", "cuda:99"});
  EXPECT_EQ(outcome.code, 3);
  EXPECT_THAT(outcome.out + outcome.error, HasSubstr("cannot use device cuda:99: "));
}

}  // namespace
}  // namespace gyrebox
