// Calls that affect very many runs work in slices, so that nobody waits for long.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sqlite3.h>

#include <algorithm>
#include <atomic>
#include <future>
#include <thread>

#include "example_studies.h"
#include "executor/executor.h"
#include "fake_device.h"
#include "store/fair_mutex.h"
#include "temporary_directory.h"
#include "wait_for.h"

namespace gyrebox::executor {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;
using test::WaitFor;
using testing::HasSubstr;

class SlicesTest : public testing::Test {
 protected:
  void SetUp() override { Open(); }
  void TearDown() override {
    executor_.reset();
    sqlite3_close(outside_);
  }

  void Open() {
    auto store = store::Store::Open(directory_.path());
    ASSERT_TRUE(store.ok()) << store.status();
    store_ = *std::move(store);
  }

  void Start(Options options = {}) {
    options.record_seconds = 0.005;
    options.chunk_seconds = 0.002;
    queue_ = std::make_unique<queue::Queue>(*store_);
    executor_ = std::make_unique<Executor>(*store_, device_, *queue_, options, [](int64_t) {});
    executor_->Start();
  }

  void Create(int trials, const std::string& user = "ann", const std::vector<double>& amplitudes = {4}) {
    const auto spec = AmplitudeStudy(amplitudes, trials);
    const auto study = store_->studies().Create(spec, NewRuns(spec), "", user);
    ASSERT_TRUE(study.ok()) << study.status();
    if (executor_ != nullptr) executor_->Wake();
  }

  SteerRequest Request(int64_t run, v1::Adjustment::Kind kind, double amplitude = 9) {
    SteerRequest request;
    request.study = 1;
    request.run = run;
    request.kind = kind;
    request.user = "ann";
    if (kind == v1::Adjustment::KIND_CHANGE) {
      request.changes.Add()->set_field("drive.sine.amplitude");
      request.changes.rbegin()->set_value(amplitude);
    }
    return request;
  }
  Steered Steer(const SteerRequest& request) {
    std::promise<Steered> answer;
    executor_->Steer(request, [&](Steered steered) { answer.set_value(std::move(steered)); });
    return answer.get_future().get();
  }

  /// Drains the device: from now on all runs wait.
  void Drain() {
    std::promise<absl::Status> drained;
    executor_->Drain(true, [&](const absl::Status& status) { drained.set_value(status); });
    ASSERT_TRUE(drained.get_future().get().ok());
    ASSERT_TRUE(WaitFor([&] { return store_->studies().Get(1)->run_counts().running_count() == 0; }));
  }

  /// Runs SQL on the database directly, bypassing the store.
  void Sql(const std::string& sql) {
    if (outside_ == nullptr) {
      ASSERT_EQ(sqlite3_open((directory_.path() + "/gyrebox.db").c_str(), &outside_), SQLITE_OK);
      sqlite3_busy_timeout(outside_, 10'000);
    }
    ASSERT_EQ(sqlite3_exec(outside_, sql.c_str(), nullptr, nullptr, nullptr), SQLITE_OK) << sqlite3_errmsg(outside_);
  }
  void Reopen() {
    executor_.reset();
    sqlite3_close(outside_);
    outside_ = nullptr;
    store_.reset();
    Open();
  }
  /// The number returned by a query.
  int64_t Number(const std::string& sql) {
    Sql("SELECT 1");
    int64_t number = -1;
    const auto take = [](void* to, int, char** values, char**) {
      *static_cast<int64_t*>(to) = std::stoll(values[0]);
      return 0;
    };
    EXPECT_EQ(sqlite3_exec(outside_, sql.c_str(), take, &number, nullptr), SQLITE_OK) << sqlite3_errmsg(outside_);
    return number;
  }

  test::TemporaryDirectory directory_;
  std::shared_ptr<test::FakePlan> plan_ = std::make_shared<test::FakePlan>();
  test::FakeDevice device_{plan_};
  std::unique_ptr<store::Store> store_;
  sqlite3* outside_ = nullptr;
  std::unique_ptr<queue::Queue> queue_;
  std::unique_ptr<Executor> executor_;
};

// ---- steering

TEST_F(SlicesTest, AStudyIsAdjustedInManyTransactionsWhileTheDeviceContinues) {
  plan_->step_nanoseconds = 5'000'000;  // no run ends meanwhile
  Create(1, "bob");
  Create(4000);
  Start();
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 0; }));
  const int64_t changes = Number("SELECT change FROM study WHERE id = 2");
  const int chunks = plan_->chunks;
  SteerRequest request = Request(0, v1::Adjustment::KIND_CHANGE);
  request.study = 2;
  const Steered steered = Steer(request);
  ASSERT_TRUE(steered.status.ok()) << steered.status;
  EXPECT_EQ(steered.count, 4000);
  EXPECT_EQ(steered.entries.size(), kMaxEntriesTold);
  EXPECT_GE(Number("SELECT change FROM study WHERE id = 2"), changes + 3);  // one per transaction
  EXPECT_GE(plan_->chunks, chunks + 3);
  EXPECT_EQ(Number("SELECT COUNT(*) FROM journal WHERE study = 2"), 4000);
  for (const v1::Adjustment::Kind kind : {v1::Adjustment::KIND_PAUSE, v1::Adjustment::KIND_RESUME}) {
    request = Request(0, kind);
    request.study = 2;
    EXPECT_EQ(Steer(request).count, 4000);
  }
  EXPECT_EQ(store_->studies().Get(2)->run_counts().paused_count(), 0);
}

TEST_F(SlicesTest, OnPartialFailureItReportsHowManyRunsWereAdjusted) {
  Create(1000);
  Start();
  Drain();
  Sql("UPDATE run SET journal_length = 10000 WHERE number = 700 OR number = 900");
  const Steered steered = Steer(Request(0, v1::Adjustment::KIND_CHANGE));
  EXPECT_EQ(steered.status.code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_THAT(std::string(steered.status.message()), HasSubstr("runs were adjusted, the others not"));
  EXPECT_THAT(std::string(steered.status.message()), HasSubstr("the journal of studies/1/runs/700 has 10000 entries"));
  EXPECT_GT(steered.count, 0);
  EXPECT_LT(steered.count, 700);
  EXPECT_EQ(Number("SELECT COUNT(*) FROM journal"), steered.count);  // each run completely, or not at all
}

// ---- journals

TEST_F(SlicesTest, AnAdjustmentReadsNothingOfALongJournal) {
  plan_->step_nanoseconds = 1'000'000;
  Create(1);
  Start();
  Drain();
  const auto adjust = [&](int times) {
    for (int i = 0; i < times; ++i) {
      const Steered steered = Steer(Request(1, v1::Adjustment::KIND_CHANGE, 5 + i % 2));
      ASSERT_TRUE(steered.status.ok()) << steered.status;
    }
  };
  adjust(10);
  const int64_t before = store_->journals().entries_read();
  adjust(1);
  EXPECT_EQ(store_->journals().entries_read(), before);
  adjust(500);
  EXPECT_EQ(store_->journals().entries_read(), before);
  EXPECT_EQ(store_->journals().Get(1, 1)->size(), 511u);
  // The first adjustment reads what another process left, once.
  Reopen();
  Start();
  Drain();
  const int64_t opened = store_->journals().entries_read();
  adjust(2);
  EXPECT_LE(store_->journals().entries_read(), opened + 511);
  EXPECT_EQ(store_->journals().Get(1, 1)->size(), 513u);
}

TEST_F(SlicesTest, AJournalHasABound) {
  plan_->step_nanoseconds = 1'000'000;
  Create(1);
  Sql("UPDATE run SET journal_length = " + std::to_string(kMaxEntries));
  Start();
  for (const auto kind : {v1::Adjustment::KIND_CHANGE, v1::Adjustment::KIND_PAUSE}) {
    const Steered steered = Steer(Request(1, kind));
    EXPECT_EQ(steered.status.code(), absl::StatusCode::kFailedPrecondition) << steered.status;
    EXPECT_THAT(std::string(steered.status.message()), HasSubstr("has 10000 entries, and takes no more of this kind"));
  }
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->state() == v1::Run::STATE_RUNNING; }));
  EXPECT_TRUE(Steer(Request(1, v1::Adjustment::KIND_FINISH)).status.ok());  // it can always be ended
}

// ---- new runs

/// Number of runs of a study of this many driven points with 1000 realizations each. Four realizations of each point
/// audit its time step, which is less than 15 % of the work.
constexpr int RunsOf(int points) { return points * (1000 + 4); }

TEST_F(SlicesTest, AStudyOfManyRunsAppearsAtomically) {
  Create(1000, "ann", {1, 2, 3, 4, 5, 6});
  EXPECT_EQ(store_->studies().Get(1)->run_counts().queued_count(), RunsOf(6));
  EXPECT_EQ(store_->runs().Get(1, 6000)->axis_values(0), 6);
  const auto spec = AmplitudeStudy({1, 2, 3, 4, 5, 6}, 1000);
  const auto first = store_->studies().Create(spec, NewRuns(spec), "once"),
             again = store_->studies().Create(spec, {}, "once");
  ASSERT_TRUE(first.ok() && again.ok());
  EXPECT_EQ(first->name(), again->name());
}

TEST_F(SlicesTest, APartiallyCreatedStudyIsErased) {
  Create(5);
  Sql("UPDATE study SET deleted = 2");
  EXPECT_EQ(store_->studies().Get(1).status().code(), absl::StatusCode::kNotFound);
  EXPECT_TRUE(store_->queue().ListWaiting()->empty());
  Reopen();
  EXPECT_EQ(store_->studies().Get(1).status().code(), absl::StatusCode::kNotFound);
  EXPECT_EQ(Number("SELECT COUNT(*) FROM run"), 0);
}

TEST_F(SlicesTest, PartiallyAddedRunsAppearIfTheirGrowthWasAccepted) {
  for (const bool accepted : {false, true}) {
    SCOPED_TRACE(accepted);
    Create(5);
    const int64_t id = accepted ? 2 : 1;
    const std::string of = std::to_string(id);
    Sql("UPDATE run SET state = 0 WHERE number > 3 AND study = " + of +
        "; UPDATE study SET joining = " + std::to_string(accepted) + " WHERE id = " + of);
    EXPECT_EQ(store_->runs().List(id, 0, 100)->size(), 3u);
    EXPECT_EQ(store_->studies().Get(id)->run_counts().total_count(), 3);
    Reopen();
    EXPECT_EQ(store_->runs().List(id, 0, 100)->size(), accepted ? 5u : 3u);
    EXPECT_EQ(store_->studies().Get(id)->run_counts().queued_count(), accepted ? 5 : 3);
  }
}

TEST_F(SlicesTest, AStudyGrowsByManyRuns) {
  const auto small = AmplitudeStudy({1}, 2), large = AmplitudeStudy({1, 2, 3, 4, 5, 6, 7}, 1000);
  ASSERT_TRUE(store_->studies().Create(small, NewRuns(small), "").ok());
  auto runs = NewRuns(large);
  runs.erase(runs.begin(), runs.begin() + 2);
  const store::Growth growth{large, runs, {}, "much"};
  const auto grown = store_->studies().Grow(1, growth, "grow", "", "ann");
  ASSERT_TRUE(grown.ok()) << grown.status();
  EXPECT_EQ(grown->run_counts().queued_count(), RunsOf(7));
  EXPECT_EQ(store_->runs().List(1, RunsOf(7) - 1, 10)->size(), 1u);
  EXPECT_EQ(store_->studies().Grow(1, growth, "grow", "", "ann")->run_counts().total_count(), RunsOf(7));
  EXPECT_EQ(store_->studies().Grow(1, growth, "other", "7-1", "ann").status().code(), absl::StatusCode::kAborted);
  EXPECT_EQ(Number("SELECT COUNT(*) FROM run WHERE state = 0"), 0);
}

TEST_F(SlicesTest, AnInterruptedCancelIsCompletedWhenTheStoreOpens) {
  Create(5);
  Sql("UPDATE study SET cancelled = 1; UPDATE run SET state = 8 WHERE number = 1");
  EXPECT_TRUE(store_->queue().ListWaiting()->empty());  // none of its runs starts
  Reopen();
  EXPECT_EQ(store_->studies().Get(1)->run_counts().cancelled_count(), 5);
  EXPECT_TRUE(store_->studies().Get(1)->has_end_time());
}

TEST_F(SlicesTest, PrioritiesAndCancelsOfManyRunsTakeManyTransactions) {
  Create(1000, "ann", {1, 2, 3, 4, 5, 6});
  int64_t before = Number("SELECT change FROM study");
  EXPECT_EQ(store_->queue().SetPriority(1, 0, 7).value_or(0), RunsOf(6));
  EXPECT_GE(Number("SELECT change FROM study"), before + 2);
  EXPECT_EQ(Number("SELECT COUNT(*) FROM run WHERE priority = 7"), RunsOf(6));
  before = Number("SELECT change FROM study");
  EXPECT_TRUE(store_->studies().Cancel(1).ok());
  EXPECT_GE(Number("SELECT change FROM study"), before + 3);
  EXPECT_EQ(store_->studies().Get(1)->run_counts().cancelled_count(), RunsOf(6));
  EXPECT_TRUE(store_->studies().Get(1)->has_end_time());
}

// ---- the lock of the store

TEST(FairMutexTest, IsGrantedInOrderOfRequest) {
  store::FairMutex mutex;
  std::vector<int> order;  // guarded by mutex
  std::vector<std::thread> threads;
  mutex.lock();
  for (int i = 0; i < 20; ++i) {
    threads.emplace_back([&, i] {
      mutex.lock();
      order.push_back(i);
      mutex.unlock();
    });
    ASSERT_TRUE(WaitFor([&] { return mutex.asked() == static_cast<uint64_t>(i) + 2; }));
  }
  mutex.unlock();
  for (std::thread& thread : threads) thread.join();
  EXPECT_TRUE(std::is_sorted(order.begin(), order.end()));
  EXPECT_EQ(order.size(), 20u);
}

// ---- quotas

TEST_F(SlicesTest, ARunOverItsOwnersByteQuotaPausesAndSaysWhy) {
  Create(1);  // uses up the bytes
  Sql("UPDATE run SET state = 8; UPDATE study SET end_time = 1");
  plan_->step_nanoseconds = 200'000;
  Options options;
  options.max_bytes_per_user = 1'000'000;
  Start(options);
  Create(1);
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(2, 1)->step() > 100; }));
  Sql("UPDATE study SET stored_bytes = 2000000 WHERE id = 1");
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(2, 1)->state() == v1::Run::STATE_PAUSED; }));
  EXPECT_THAT(store_->runs().Get(2, 1)->pause_reason(), HasSubstr("bytes on the disk; the quota is 1000000"));
  auto journal = store_->journals().Get(2, 1);
  ASSERT_EQ(journal->size(), 1u);
  EXPECT_EQ(journal->at(0).user(), "server");
  EXPECT_EQ(journal->at(0).kind(), v1::Adjustment::KIND_PAUSE);
  EXPECT_EQ(journal->at(0).reason(), store_->runs().Get(2, 1)->pause_reason());
  // A resume that changes nothing lasts until the run's next turn.
  SteerRequest resume = Request(1, v1::Adjustment::KIND_RESUME);
  resume.study = 2;
  ASSERT_TRUE(Steer(resume).status.ok());
  ASSERT_TRUE(WaitFor([&] { return store_->journals().Get(2, 1)->size() == 3; }));
  EXPECT_EQ(store_->runs().Get(2, 1)->state(), v1::Run::STATE_PAUSED);
  Sql("UPDATE study SET stored_bytes = 0 WHERE id = 1");
  ASSERT_TRUE(Steer(resume).status.ok());
  EXPECT_EQ(store_->runs().Get(2, 1)->pause_reason(), "");
  plan_->step_nanoseconds = 0;
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(2, 1)->state() == v1::Run::STATE_FINISHED; }));
  EXPECT_EQ(store_->runs().Get(2, 1)->sample_count(), 17);
  EXPECT_EQ(store_->journals().Get(2, 1)->size(), 4u);
}

}  // namespace
}  // namespace gyrebox::executor
