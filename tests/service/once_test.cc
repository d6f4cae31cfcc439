// Calls that create or adjust something take effect once per request id, even across a server restart.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "example_studies.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "lib/client.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::BareStudy;

class OnceTest : public testing::Test {
 protected:
  /// A run that lasts as long as the test.
  OnceTest() { server_.plan().step_nanoseconds = 1'000'000; }

  /// Calls one method.
  template <class Service, class Request, class Response>
  grpc::Status Call(grpc::Status (Service::Stub::*method)(grpc::ClientContext*, const Request&, Response*),
                    const Request& request, Response* response) {
    grpc::ClientContext context;
    response->Clear();
    return (Service::NewStub(server_.Connect()).get()->*method)(&context, request, response);
  }

  v1::Study Create() {
    v1::CreateStudyRequest request;
    *request.mutable_spec() = BareStudy();
    v1::Study study;
    EXPECT_TRUE((Call<v1::StudyService>(&v1::StudyService::Stub::CreateStudy, request, &study)).ok());
    EXPECT_TRUE(test::WaitFor([&] {
      return client::Client(server_.address()).GetRun("studies/1/runs/1")->state() == v1::Run::STATE_RUNNING;
    }));
    return study;
  }

  void StartAgain() {
    server_.Stop();
    server_.Start();
  }

  size_t JournalLength() {
    return static_cast<size_t>(
        client::Client(server_.address()).ListAdjustments("studies/1/runs/1")->adjustments_size());
  }

  test::TestServer server_;
};

template <class Request>
Request WithId(const std::string& name) {
  Request request;
  request.set_name(name);
  request.set_request_id("once");
  return request;
}

TEST_F(OnceTest, CreatingTwiceMakesOneStudyAndAnotherContentIsRefused) {
  v1::CreateStudyRequest request;
  *request.mutable_spec() = BareStudy();
  request.set_request_id("once");
  v1::Study study;
  for (int i = 0; i < 2; ++i) {
    ASSERT_TRUE((Call<v1::StudyService>(&v1::StudyService::Stub::CreateStudy, request, &study)).ok());
    EXPECT_EQ(study.name(), "studies/1");
    StartAgain();
  }
  request.mutable_spec()->mutable_bed()->set_bead_count(200);
  EXPECT_EQ((Call<v1::StudyService>(&v1::StudyService::Stub::CreateStudy, request, &study)).error_code(),
            grpc::StatusCode::ALREADY_EXISTS);
}

TEST_F(OnceTest, AdjustingTwiceAdjustsOnce) {
  Create();
  auto request = WithId<v1::AdjustRunsRequest>("studies/1/runs/1");
  request.add_changes()->set_field("drive.sine.amplitude");
  request.mutable_changes(0)->set_value(12);
  v1::AdjustRunsResponse first, again;
  const auto status = Call<v1::RunService>(&v1::RunService::Stub::AdjustRuns, request, &first);
  ASSERT_TRUE(status.ok()) << status.error_message();
  ASSERT_EQ(first.adjustments_size(), 1);
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::AdjustRuns, request, &again)).ok());
  ASSERT_EQ(again.adjustments_size(), 1);
  EXPECT_EQ(again.adjustments(0).step(), first.adjustments(0).step());
  EXPECT_EQ(JournalLength(), 1u);
  StartAgain();
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::AdjustRuns, request, &again)).ok());
  EXPECT_EQ(again.adjustments(0).change().SerializeAsString(), first.adjustments(0).change().SerializeAsString());
  EXPECT_EQ(JournalLength(), 1u);
  request.mutable_changes(0)->set_value(13);
  EXPECT_EQ((Call<v1::RunService>(&v1::RunService::Stub::AdjustRuns, request, &again)).error_code(),
            grpc::StatusCode::ALREADY_EXISTS);
  request.set_request_id("not an id");
  EXPECT_EQ((Call<v1::RunService>(&v1::RunService::Stub::AdjustRuns, request, &again)).error_code(),
            grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(OnceTest, ExtendingTwiceExtendsOnce) {
  Create();
  auto request = WithId<v1::ExtendRunRequest>("studies/1/runs/1");
  request.set_time(1);
  v1::Run run;
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::ExtendRun, request, &run)).ok());
  EXPECT_EQ(run.total_steps(), 6000);
  StartAgain();
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::ExtendRun, request, &run)).ok());
  EXPECT_EQ(run.total_steps(), 6000);
}

TEST_F(OnceTest, SavingAndReplayingTwiceGiveTheSame) {
  Create();
  server_.plan().step_nanoseconds = 0;
  ASSERT_TRUE(
      test::WaitFor([&] { return client::Client(server_.address()).GetRun("studies/1/runs/1")->has_end_time(); }));
  v1::SavedState first, again;
  const auto save = WithId<v1::SaveRunRequest>("studies/1/runs/1");
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::SaveRun, save, &first)).ok());
  v1::Study replay, replayed;
  const auto ask = WithId<v1::ReplayRunRequest>("studies/1/runs/1");
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::ReplayRun, ask, &replay)).ok());
  EXPECT_EQ(replay.name(), "studies/2");
  StartAgain();
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::SaveRun, save, &again)).ok());
  EXPECT_EQ(again.SerializeAsString(), first.SerializeAsString());
  ASSERT_TRUE((Call<v1::RunService>(&v1::RunService::Stub::ReplayRun, ask, &replayed)).ok());
  EXPECT_EQ(replayed.name(), "studies/2");
}

TEST_F(OnceTest, DeletingAgainIsNoErrorIfRequested) {
  Create();
  client::Client client(server_.address());
  ASSERT_TRUE(client.CancelStudy("studies/1").ok());
  server_.plan().step_nanoseconds = 0;
  ASSERT_TRUE(test::WaitFor([&] { return client.GetStudy("studies/1")->has_end_time(); }));
  v1::DeleteStudyRequest request;
  request.set_name("studies/1");
  google::protobuf::Empty none;
  ASSERT_TRUE((Call<v1::StudyService>(&v1::StudyService::Stub::DeleteStudy, request, &none)).ok());
  EXPECT_EQ((Call<v1::StudyService>(&v1::StudyService::Stub::DeleteStudy, request, &none)).error_code(),
            grpc::StatusCode::NOT_FOUND);
  request.set_allow_missing(true);
  EXPECT_TRUE((Call<v1::StudyService>(&v1::StudyService::Stub::DeleteStudy, request, &none)).ok());
}

// The study's own copy of the initial state is enough for every operation.
TEST_F(OnceTest, AStudyRunsGrowsAndReplaysAfterItsSourceIsDeleted) {
  Create();
  server_.plan().step_nanoseconds = 0;
  client::Client client(server_.address());
  const auto ended = [&](const char* study) { return client.GetStudy(study)->has_end_time(); };
  ASSERT_TRUE(test::WaitFor([&] { return ended("studies/1"); }));
  v1::StudySpec spec = BareStudy();
  spec.clear_bed();
  spec.mutable_start()->mutable_saved()->set_run("studies/1/runs/1");
  ASSERT_TRUE(client.CreateStudy(spec).ok());
  ASSERT_TRUE(test::WaitFor([&] { return ended("studies/2"); }));
  ASSERT_TRUE(client.DeleteStudy("studies/1").ok());
  v1::GrowStudyRequest grow;
  grow.set_name("studies/2");
  grow.set_add_trials(1);
  const auto grown = client.GrowStudy(grow);
  ASSERT_TRUE(grown.ok()) << grown.status();
  const auto replay = client.ReplayRun("studies/2/runs/1");
  ASSERT_TRUE(replay.ok()) << replay.status();
  ASSERT_TRUE(test::WaitFor([&] { return ended("studies/2") && ended("studies/3"); }));
  for (const char* run : {"studies/2/runs/1", "studies/2/runs/2", "studies/3/runs/1"}) {
    EXPECT_EQ(client.GetRun(run)->state(), v1::Run::STATE_FINISHED) << run;
  }
  EXPECT_EQ(server_.plan().initialized.back().start.saved->x, server_.plan().initialized[1].start.saved->x);
}

}  // namespace
}  // namespace gyrebox
