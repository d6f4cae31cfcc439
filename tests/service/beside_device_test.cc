// Work that runs beside the device: initialisation of beds, and recording of results.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <future>
#include <utility>

#include "example_studies.h"
#include "executor/executor.h"
#include "fake_device.h"
#include "temporary_directory.h"
#include "wait_for.h"

namespace gyrebox::executor {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;
using test::WaitFor;
using State = v1::Run::State;

/// Number of beads whose initialisation takes far longer than any test waits.
constexpr int64_t kHuge = 3'000'000;

class BesideDeviceTest : public testing::Test {
 protected:
  void Start(Options options = {}) {
    options.record_seconds = 0.005;
    options.chunk_seconds = 0.002;
    queue_ = std::make_unique<queue::Queue>(*store_);
    executor_ = std::make_unique<Executor>(*store_, device_, *queue_, options, [](int64_t) {});
    executor_->Start();
  }

  void Create(const std::string& user, int64_t beads = 100, int trials = 1) {
    auto spec = AmplitudeStudy({4}, trials);
    spec.mutable_bed()->set_bead_count(beads);
    ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "", user).ok());
    if (executor_ != nullptr) executor_->Wake();
  }

  Steered Steer(v1::Adjustment::Kind kind, int64_t study = 1) {
    SteerRequest request;
    request.study = study;
    request.run = 1;
    request.kind = kind;
    request.user = "ann";
    request.more_time = 1;  // of an extension
    if (kind == v1::Adjustment::KIND_CHANGE) {
      request.changes.Add()->set_field("drive.sine.amplitude");
      request.changes.rbegin()->set_value(9);
    }
    std::promise<Steered> answer;
    executor_->Steer(request, [&](Steered steered) { answer.set_value(std::move(steered)); });
    return answer.get_future().get();
  }

  State StateOf(int64_t study, int64_t run = 1) { return store_->runs().Get(study, run)->state(); }
  bool WaitForState(int64_t study, State state) {
    return WaitFor([&] { return StateOf(study) == state; });
  }
  bool WaitForEnd(int64_t study) {
    return WaitFor([&] { return store_->studies().Get(study)->has_end_time(); });
  }

  std::vector<double> Sizes(int64_t study = 1) {
    const auto rows = store_->series().Read(study, 1, 0, 1'000'000);
    std::vector<double> sizes;
    for (size_t i = 0; i < rows->size(); ++i) sizes.push_back(rows->row(i)[2]);
    return sizes;
  }

  /// Runs SQL on the database directly, bypassing the store.
  void Sql(const std::string& sql) {
    if (outside_ == nullptr) {
      ASSERT_EQ(sqlite3_open((directory_.path() + "/gyrebox.db").c_str(), &outside_), SQLITE_OK);
      sqlite3_busy_timeout(outside_, 10'000);
    }
    ASSERT_EQ(sqlite3_exec(outside_, sql.c_str(), nullptr, nullptr, nullptr), SQLITE_OK) << sqlite3_errmsg(outside_);
  }
  void TearDown() override { sqlite3_close(outside_); }

  test::TemporaryDirectory directory_;
  std::shared_ptr<test::FakePlan> plan_ = std::make_shared<test::FakePlan>();
  test::FakeDevice device_{plan_};
  std::unique_ptr<store::Store> store_ = *store::Store::Open(directory_.path());
  sqlite3* outside_ = nullptr;
  std::unique_ptr<queue::Queue> queue_;
  std::unique_ptr<Executor> executor_;
};

// ---- recording

// Emulates a slow disk: every write waits, none is refused.
TEST_F(BesideDeviceTest, TheDeviceContinuesDuringRecordingButNotFarAhead) {
  plan_->step_nanoseconds = 1'000'000;
  Create("ann");
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_RUNNING));
  Sql("BEGIN IMMEDIATE");
  const int before = plan_->chunks;
  EXPECT_TRUE(WaitFor([&] { return plan_->chunks > before + 5; }));
  int last = 0;
  const auto stands_still = [&] {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    return std::exchange(last, plan_->chunks) == last;
  };
  EXPECT_TRUE(WaitFor(stands_still));
  EXPECT_LT(store_->runs().Get(1, 1)->step(), 4000);
  plan_->step_nanoseconds = 0;
  Sql("COMMIT");
  ASSERT_TRUE(WaitForEnd(1));
  const auto sizes = Sizes();
  ASSERT_EQ(sizes.size(), 17u);
  for (size_t i = 0; i < sizes.size(); ++i) EXPECT_EQ(sizes[i], 104 + static_cast<double>(i) / 16);
}

// The run has ended, but only the device knows this yet.
TEST_F(BesideDeviceTest, ACommandSeesTheRunAsItIsNotAsLastStored) {
  plan_->held = true;
  Create("ann");
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_RUNNING));
  Sql("BEGIN IMMEDIATE");
  plan_->held = false;
  ASSERT_TRUE(WaitFor([&] { return plan_->finished == 1; }));
  EXPECT_EQ(StateOf(1), v1::Run::STATE_RUNNING);
  std::thread opens_later([&] {
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
    Sql("COMMIT");
  });
  const Steered steered = Steer(v1::Adjustment::KIND_CHANGE);
  opens_later.join();
  EXPECT_EQ(steered.status.code(), absl::StatusCode::kFailedPrecondition) << steered.status;
  EXPECT_TRUE(store_->journals().Get(1, 1)->empty());
  EXPECT_EQ(StateOf(1), v1::Run::STATE_FINISHED);
}

TEST_F(BesideDeviceTest, APauseIsAnsweredOnceTheRunIsStored) {
  plan_->step_nanoseconds = 200'000;
  Create("ann");
  Start();
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 500; }));
  const Steered paused = Steer(v1::Adjustment::KIND_PAUSE);
  ASSERT_TRUE(paused.status.ok()) << paused.status;
  const auto run = store_->runs().Get(1, 1);
  EXPECT_EQ(run->state(), v1::Run::STATE_PAUSED);
  const auto checkpoint = store_->states().GetCheckpoint(1, 1);
  ASSERT_TRUE(checkpoint.ok() && checkpoint->has_value());
  EXPECT_EQ((*checkpoint)->bed.step, run->step());
  EXPECT_EQ(store_->journals().Get(1, 1)->size(), 1u);
  const Steered resumed = Steer(v1::Adjustment::KIND_RESUME);
  ASSERT_TRUE(resumed.status.ok()) << resumed.status;
  plan_->step_nanoseconds = 0;
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(Sizes().size(), 17u);
}

// ---- initialisation

TEST_F(BesideDeviceTest, WhileALargeBedInitialisesOthersContinueAndCommandsAreAnswered) {
  Create("ann", kHuge);
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
  Create("bob");
  ASSERT_TRUE(WaitForEnd(2));
  const Steered changed = Steer(v1::Adjustment::KIND_CHANGE);
  ASSERT_TRUE(changed.status.ok()) << changed.status;
  EXPECT_EQ(changed.entries.at(0).step(), 0);
  EXPECT_EQ(StateOf(1), v1::Run::STATE_STARTING);
  const View view = executor_->view();
  ASSERT_EQ(view.on_device.size(), 1u);
  EXPECT_EQ(view.on_device[0].beads, kHuge);
  EXPECT_GE(view.bytes, 30 * kHuge);
}

TEST_F(BesideDeviceTest, AStopAbortsAnInitialisationAndTheRunIsQueuedAgain) {
  Create("ann", kHuge);
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
  executor_.reset();
  EXPECT_EQ(StateOf(1), v1::Run::STATE_QUEUED);
  EXPECT_FALSE(store_->runs().Get(1, 1)->has_start_time());
  EXPECT_TRUE(plan_->ensemble_sizes.empty());
}

TEST_F(BesideDeviceTest, ADrainAbortsAnInitialisationAndTheRunStartsAgainLater) {
  Create("ann", kHuge);
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
  executor_->Drain(true, [](const absl::Status&) {});
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_QUEUED));
  ASSERT_TRUE(WaitFor([&] { return executor_->view().on_device.empty(); }));
  executor_->Drain(false, [](const absl::Status&) {});
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
}

TEST_F(BesideDeviceTest, ACancelAbortsAnInitialisation) {
  Create("ann", kHuge);
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
  ASSERT_TRUE(store_->studies().Cancel(1).ok());
  executor_->Wake();
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(StateOf(1), v1::Run::STATE_CANCELLED);
  Create("ann");  // she need not wait for the abandoned initialisation
  ASSERT_TRUE(WaitForEnd(2));
  EXPECT_EQ(plan_->ensemble_sizes.size(), 1u);
}

TEST_F(BesideDeviceTest, APauseAbortsAnInitialisationAndIsInTheJournal) {
  Create("ann", kHuge);
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
  const Steered paused = Steer(v1::Adjustment::KIND_PAUSE);
  ASSERT_TRUE(paused.status.ok()) << paused.status;
  EXPECT_EQ(StateOf(1), v1::Run::STATE_PAUSED);
  EXPECT_EQ(store_->journals().Get(1, 1)->size(), 1u);
  ASSERT_TRUE(WaitFor([&] { return executor_->view().on_device.empty(); }));
  ASSERT_TRUE(Steer(v1::Adjustment::KIND_RESUME).status.ok());
  EXPECT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
}

// The other runs of the ensemble continue unaffected.
TEST_F(BesideDeviceTest, AdjustmentsDuringInitialisationHoldFromTheFirstStep) {
  constexpr int64_t kLarge = 5'000;
  Create("ann", kLarge, 2);
  Start();
  ASSERT_TRUE(WaitFor([&] { return StateOf(1) >= v1::Run::STATE_STARTING; }));
  const Steered changed = Steer(v1::Adjustment::KIND_CHANGE);
  ASSERT_TRUE(changed.status.ok()) << changed.status;
  const Steered longer = Steer(v1::Adjustment::KIND_EXTEND);
  ASSERT_TRUE(longer.status.ok()) << longer.status;
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(store_->runs().Get(1, 1)->step(), 6000);
  EXPECT_EQ(store_->runs().Get(1, 2)->step(), 4000);
  const auto rows = store_->series().Read(1, 1, 0, 1'000'000);
  ASSERT_EQ(rows->size(), 25u);
  for (size_t i = 0; i + 1 < rows->size(); ++i) {
    const bool is_changed = rows->row(i)[0] >= static_cast<double>(changed.entries.at(0).step());
    EXPECT_EQ(std::floor(rows->row(i)[2]), is_changed ? 109 : 104) << i;
  }
}

TEST_F(BesideDeviceTest, AnInitialisingRunHasNoStateToSave) {
  Create("ann", kHuge);
  Start();
  ASSERT_TRUE(WaitForState(1, v1::Run::STATE_STARTING));
  std::promise<absl::StatusOr<v1::SavedState>> answer;
  executor_->Save(1, 1, [&](absl::StatusOr<v1::SavedState> saved) { answer.set_value(std::move(saved)); });
  EXPECT_EQ(answer.get_future().get().status().code(), absl::StatusCode::kFailedPrecondition);
}

}  // namespace
}  // namespace gyrebox::executor
