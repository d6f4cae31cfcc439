// Slow calls are scheduled fairly between users, and end when their caller is gone.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <future>
#include <thread>

#include "api/worker_pool.h"
#include "example_studies.h"
#include "group_server.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::BareStudy;
using test::WaitFor;
using testing::ElementsAre;

// ---- the threads

TEST(WorkerPoolTest, UsersTakeTurnsAndOneUsersWorkKeepsItsOrder) {
  api::WorkerPool pool(1);
  std::promise<void> begin;
  const auto may_begin = begin.get_future().share();
  std::mutex mutex;
  std::vector<std::string> done;
  pool.Post("", [&] { may_begin.wait(); });
  for (const char* what : {"ann 1", "ann 2", "ann 3", "bob 1", "eve 1", "eve 2"}) {
    pool.Post(std::string(what).substr(0, 3), [&, what] {
      std::lock_guard lock(mutex);
      done.push_back(what);
    });
  }
  begin.set_value();
  pool.Stop();
  EXPECT_THAT(done, ElementsAre("ann 1", "bob 1", "eve 1", "ann 2", "eve 2", "ann 3"));
}

TEST(WorkerPoolTest, OneUserNeverHasAllThreads) {
  std::promise<void> end;
  const auto may_end = end.get_future().share();
  api::WorkerPool pool(3);
  std::atomic<int> begun = 0;
  for (int i = 0; i < 5; ++i) {
    pool.Post("eve", [&] {
      ++begun;
      may_end.wait();
    });
  }
  std::promise<void> answered;
  pool.Post("ben", [&] { answered.set_value(); });
  answered.get_future().wait();
  EXPECT_LE(begun, 2);
  end.set_value();
  pool.Stop();
  EXPECT_EQ(begun, 5);  // all queued work is done
}

TEST(WorkerPoolTest, AUserHasALimitedNumberOfCalls) {
  api::WorkerPool pool(1, 2);
  auto first = pool.Take("ann"), second = pool.Take("ann");
  ASSERT_TRUE(first.ok() && second.ok());
  EXPECT_EQ(pool.Take("ann").status().code(), absl::StatusCode::kResourceExhausted);
  EXPECT_TRUE(pool.Take("bob").ok());
  first->reset();
  EXPECT_TRUE(pool.Take("ann").ok());
}

// ---- a server

class SlowCallsTest : public testing::Test {
 protected:
  static api::ServerOptions WithBounds() {
    api::ServerOptions options = test::Unhindered();
    options.limits.slow_calls = 4;
    return options;
  }

  /// A running check; cancelled by its destructor.
  struct Check {
    grpc::ClientContext context;
    v1::CheckStudyRequest request;
    v1::CheckStudyResponse response;
    std::promise<grpc::Status> status;
    std::shared_future<grpc::Status> done = status.get_future().share();

    ~Check() {
      context.TryCancel();
      done.wait();
    }
  };
  std::unique_ptr<Check> Begin(const std::string& user, int points, double seconds = 0) {
    auto check = std::make_unique<Check>();
    check->context.AddMetadata("authorization", "Bearer " + server_.secret(user));
    if (seconds > 0) {
      check->context.set_deadline(std::chrono::system_clock::now() +
                                  std::chrono::milliseconds(static_cast<int>(1e3 * seconds)));
    }
    *check->request.mutable_spec() = BareStudy();
    v1::Axis& axis = *check->request.mutable_spec()->add_axes();
    axis.set_field("thermal.temperature");
    axis.mutable_linear()->set_first(0.01);
    axis.mutable_linear()->set_last(0.02);
    axis.mutable_linear()->set_count(points);
    stub_->async()->CheckStudy(&check->context, &check->request, &check->response,
                               [to = check.get()](const grpc::Status& status) { to->status.set_value(status); });
    return check;
  }
  /// Whether no further points are sized.
  bool StandsStill() {
    const int before = plan().sized;
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    return plan().sized == before;
  }
  test::FakePlan& plan() { return server_.server().plan(); }

  test::GroupServer server_{WithBounds()};
  std::unique_ptr<v1::StudyService::Stub> stub_ = v1::StudyService::NewStub(server_.Connect());
};

TEST_F(SlowCallsTest, EndlessChecksOfOneUserDelayNobodyElse) {
  auto max = server_.ClientFor("max");
  ASSERT_TRUE(max.CreateStudy(BareStudy()).ok());
  plan().step_nanoseconds = 1'000'000;
  plan().sizing_nanoseconds = 200'000'000;
  std::vector<std::unique_ptr<Check>> checks;
  for (int i = 0; i < 4; ++i) checks.push_back(Begin("olga", 1000));
  ASSERT_TRUE(WaitFor([&] { return plan().sized > 4; }));
  // A fifth exceeds this user's limit; others may still check.
  const auto fifth = Begin("olga", 2);
  EXPECT_EQ(fifth->done.get().error_code(), grpc::StatusCode::RESOURCE_EXHAUSTED);
  EXPECT_TRUE(max.CheckStudy(BareStudy()).ok());
  EXPECT_TRUE(max.PauseRun("studies/1/runs/1").ok());
  EXPECT_TRUE(server_.ClientFor("olga").ListStudies().ok());
  EXPECT_TRUE(server_.ClientFor("anna").ListTokens().ok());
  for (const auto& check : checks) {
    EXPECT_EQ(check->done.wait_for(std::chrono::seconds(0)), std::future_status::timeout);
  }
}

TEST_F(SlowCallsTest, WorkEndsWhenItsCallerIsGone) {
  plan().sizing_nanoseconds = 1'000'000;
  std::vector<std::unique_ptr<Check>> checks;
  for (int i = 0; i < 4; ++i) checks.push_back(Begin("olga", 1000));
  ASSERT_TRUE(WaitFor([&] { return plan().sized > 0; }));
  for (const auto& check : checks) check->context.TryCancel();
  for (const auto& check : checks) check->done.wait();
  EXPECT_TRUE(WaitFor([&] { return StandsStill(); }));
  EXPECT_LT(plan().sized, 8000);  // each point is sized twice
  // She may call again.
  plan().sizing_nanoseconds = 0;
  EXPECT_TRUE(WaitFor([&] { return Begin("olga", 2)->done.get().ok(); }));
}

TEST_F(SlowCallsTest, WorkEndsAfterItsDeadline) {
  plan().sizing_nanoseconds = 2'000'000;
  const auto check = Begin("olga", 1000, /*seconds=*/0.1);
  EXPECT_EQ(check->done.get().error_code(), grpc::StatusCode::DEADLINE_EXCEEDED);
  EXPECT_TRUE(WaitFor([&] { return StandsStill(); }));
  EXPECT_LT(plan().sized, 2000);
}

}  // namespace
}  // namespace gyrebox
