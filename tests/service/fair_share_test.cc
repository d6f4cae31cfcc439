// Several users of one fake device.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>

#include "example_studies.h"
#include "executor/executor.h"
#include "fake_device.h"
#include "study/expand.h"
#include "study/run_spec.h"
#include "temporary_directory.h"
#include "wait_for.h"

namespace gyrebox::executor {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;
using test::WaitFor;

class FairShareTest : public testing::Test {
 protected:
  void Start(Options options = {}, double half_life = 3600, const queue::Clocks& clocks = {}) {
    options.record_seconds = 0.005;
    options.chunk_seconds = 0.002;
    options.slice_seconds = 0.02;
    queue_ = std::make_unique<queue::Queue>(*store_, half_life, clocks);
    executor_ = std::make_unique<Executor>(*store_, device_, *queue_, options, [](int64_t) {});
    executor_->Start();
  }

  void Create(const std::string& user, int trials, int priority = 0) {
    const auto spec = AmplitudeStudy({4}, trials);
    ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "", user, priority).ok());
    if (executor_ != nullptr) executor_->Wake();
  }

  bool WaitForEnd(int64_t study) {
    return WaitFor([&] { return store_->studies().Get(study)->has_end_time(); });
  }

  int Finished(int64_t study) { return store_->studies().Get(study)->run_counts().finished_count(); }

  /// Sets memory for this many runs of AmplitudeStudy().
  void HaveMemoryFor(int runs) {
    const auto spec = AmplitudeStudy({4}, 1);
    plan_->memory_bytes = runs * test::FakeBytesOf(study::ToRunSpec(study::AtPoint(spec, {4}), spec.seeds())) + 1;
  }

  test::TemporaryDirectory directory_;
  std::shared_ptr<test::FakePlan> plan_ = std::make_shared<test::FakePlan>();
  test::FakeDevice device_{plan_};
  std::unique_ptr<store::Store> store_ = *store::Store::Open(directory_.path());
  std::unique_ptr<queue::Queue> queue_;
  std::unique_ptr<Executor> executor_;
};

// 500 runs of one user, then one run of another, which finishes long before them.
TEST_F(FairShareTest, AShortRunOfAnotherUserDoesNotWaitForAQueue) {
  plan_->step_nanoseconds = 50'000;
  Create("ann", 500);
  Options options;
  options.max_runs_together = 8;
  Start(options);
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 1000; }));
  Create("bob", 1);
  ASSERT_TRUE(WaitForEnd(2));
  EXPECT_LE(Finished(1), 8);  // those running before
  EXPECT_EQ(store_->runs().Get(2, 1)->sample_count(), 17);
  plan_->step_nanoseconds = 0;
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(Finished(1), 500);
}

// Memory holds only one of the runs: the other is saved, evicted, and later resumes with the same series.
TEST_F(FairShareTest, ALongRunYieldsTheDeviceAndResumesLater) {
  HaveMemoryFor(1);
  plan_->step_nanoseconds = 1'000'000;
  Create("ann", 1);
  Start();
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 100; }));
  Create("bob", 1);
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(2, 1)->state() == v1::Run::STATE_RUNNING; }));
  EXPECT_EQ(store_->runs().Get(1, 1)->state(), v1::Run::STATE_QUEUED);
  EXPECT_LT(store_->runs().Get(1, 1)->step(), 4000);
  plan_->step_nanoseconds = 0;
  ASSERT_TRUE(WaitForEnd(2));
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_FALSE(plan_->loaded_steps.empty());
  EXPECT_EQ(*std::max_element(plan_->ensemble_sizes.begin(), plan_->ensemble_sizes.end()), 1u);
  for (const int64_t study : {1, 2}) {
    const auto rows = store_->series().Read(study, 1, 0, 100);
    ASSERT_EQ(rows->size(), 17u);
    for (size_t i = 0; i < rows->size(); ++i) {
      EXPECT_EQ(rows->row(i)[0], 250 * static_cast<double>(i));
      EXPECT_EQ(rows->row(i)[2], 104 + static_cast<double>(i) / 16);
    }
  }
}

TEST_F(FairShareTest, OfOneUserTheMoreUrgentGoesFirst) {
  HaveMemoryFor(2);
  plan_->held = true;
  Create("ann", 2);
  Create("ann", 1);
  Create("ann", 1, /*priority=*/7);
  Start();
  plan_->held = false;
  ASSERT_TRUE(WaitForEnd(1));
  ASSERT_TRUE(WaitForEnd(2));
  const auto start = [&](int64_t study) {
    const auto time = store_->studies().Get(study)->start_time();
    return std::pair(time.seconds(), time.nanos());
  };
  EXPECT_LE(start(3), start(1));
  EXPECT_LE(start(1), start(2));
}

TEST_F(FairShareTest, AQuotaBoundsTheBeadsOfAUserOnTheDevice) {
  Create("ann", 5);
  Options options;
  options.max_beads_per_user = 250;  // two runs of 100 beads
  Start(options);
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(Finished(1), 5);
  EXPECT_THAT(plan_->ensemble_sizes, testing::ElementsAre(2, 2, 1));
}

// The system clock is set forward and back.
TEST_F(FairShareTest, TheWallClockDoesNotChangeShares) {
  std::atomic<double> steady = 1000, wall = 1e9;
  const queue::Clocks clocks{[&] { return steady.load(); }, [&] { return wall.load(); }};
  plan_->step_nanoseconds = 20'000;
  Create("ann", 1);
  Start({}, /*half_life=*/100, clocks);
  ASSERT_TRUE(WaitForEnd(1));
  const auto used = [&] {
    executor_->Wake();
    return executor_->view().used.contains("ann") ? executor_->view().used.at("ann") : 0;
  };
  ASSERT_TRUE(WaitFor([&] { return executor_->view().on_device.empty() && used() > 0.05; }));
  const double before = used();
  for (const double jump : {1e6, -2e6}) {
    wall = wall + jump;
    Create("bob", 1);  // is checked after the jump
    ASSERT_TRUE(WaitForEnd(jump > 0 ? 2 : 3));
    EXPECT_DOUBLE_EQ(used(), before);
  }
  steady = steady + 100;
  EXPECT_TRUE(WaitFor([&] { return used() < 0.75 * before; }));
  EXPECT_DOUBLE_EQ(used(), before / 2);
  // Across a restart only the wall clock measures the elapsed time.
  const double half = used();
  executor_.reset();
  store_.reset();
  store_ = *store::Store::Open(directory_.path());
  wall = wall + 100;
  steady = 5;  // of another process
  Start({}, /*half_life=*/100, clocks);
  ASSERT_TRUE(WaitFor([&] { return used() > 0; }));
  EXPECT_NEAR(used(), half / 2, 1e-4 * half);
  executor_.reset();  // before the clocks
}

TEST_F(FairShareTest, UsageSurvivesARestart) {
  plan_->step_nanoseconds = 20'000;
  Create("ann", 1);
  Start();
  ASSERT_TRUE(WaitForEnd(1));
  const double used = executor_->view().used.at("ann");
  EXPECT_GT(used, 0.05);
  executor_.reset();
  store_.reset();
  store_ = *store::Store::Open(directory_.path());
  Start();
  ASSERT_TRUE(WaitFor([&] { return executor_->view().used.contains("ann"); }));
  EXPECT_NEAR(executor_->view().used.at("ann"), used, 0.2 * used);
}

}  // namespace
}  // namespace gyrebox::executor
