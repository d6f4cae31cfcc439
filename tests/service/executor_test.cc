// The executor on a device without physics.
#include "executor/executor.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <limits>
#include <map>

#include "example_studies.h"
#include "executor/chunk_pacer.h"
#include "executor/kept_frames.h"
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
using testing::Each;
using testing::ElementsAre;

class ExecutorTest : public testing::Test {
 protected:
  void Open() { store_ = *store::Store::Open(directory_.path()); }
  void SetUp() override { Open(); }

  void Start(Options options = {}) {
    options.record_seconds = 0.005;
    options.chunk_seconds = 0.002;
    queue_ = std::make_unique<queue::Queue>(*store_);
    executor_ = std::make_unique<Executor>(*store_, device_, *queue_, options, [this](int64_t) { ++changes_; });
    executor_->Start();
  }

  void Create(const std::vector<double>& amplitudes, int trials) {
    const auto spec = AmplitudeStudy(amplitudes, trials);
    ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "").ok());
  }

  bool WaitForEnd(int64_t study = 1) {
    return WaitFor([&] { return store_->studies().Get(study)->has_end_time(); });
  }

  /// Ends abruptly: the store is in the state that a killed process leaves.
  void Break() {
    const std::string &here = directory_.path(), copy = here + "/copy";
    plan_->held = true;
    EXPECT_TRUE(WaitFor([&] { return plan_->waiting.load(); }));
    std::this_thread::sleep_for(std::chrono::milliseconds(50));  // what is being recorded ends
    std::filesystem::create_directories(copy);
    for (const char* name : {"/gyrebox.db", "/gyrebox.db-wal", "/states"}) {
      std::filesystem::copy(here + name, copy + name, std::filesystem::copy_options::recursive);
    }
    plan_->held = false;
    executor_.reset();
    store_.reset();
    for (const char* name : {"/gyrebox.db", "/gyrebox.db-wal", "/gyrebox.db-shm", "/states"}) {
      std::filesystem::remove_all(here + name);
    }
    std::filesystem::copy(copy, here, std::filesystem::copy_options::recursive);
    std::filesystem::remove_all(copy);
    Open();
  }

  /// Checkpoint files of the first run of a study, oldest first.
  std::vector<std::string> Checkpoints(int64_t study) const {
    std::map<int64_t, std::string> found;
    for (const auto& entry : std::filesystem::directory_iterator(directory_.path() + "/states")) {
      const std::string name = entry.path().filename();
      if (!name.starts_with(std::to_string(study) + "-1-") || !name.ends_with(".checkpoint")) continue;
      found[std::stoll(name.substr(4))] = entry.path();
    }
    std::vector<std::string> paths;
    for (const auto& [step, path] : found) paths.push_back(path);
    return paths;
  }

  int64_t StateFiles() const {
    const std::filesystem::directory_iterator files(directory_.path() + "/states");
    return std::distance(begin(files), end(files));
  }

  /// Expects 17 samples, each once, with the values of an undisturbed run.
  void ExpectWholeSeries(int64_t run, int64_t study = 1) {
    const auto rows = store_->series().Read(study, run, 0, 1'000'000);
    const double amplitude = store_->runs().Get(study, run)->axis_values(0);
    ASSERT_EQ(rows->size(), 17u);
    for (size_t i = 0; i < rows->size(); ++i) {
      EXPECT_EQ(rows->row(i)[0], 250 * static_cast<double>(i));
      EXPECT_EQ(rows->row(i)[2], amplitude + 100 + static_cast<double>(i) / 16);
      EXPECT_EQ(std::isnan(rows->row(i)[6]), i % 2 == 1) << i;
    }
  }

  v1::RunCounts Counts(int64_t study = 1) { return store_->studies().Get(study)->run_counts(); }

  std::vector<double> Sizes(int64_t run) {
    const auto rows = store_->series().Read(1, run, 0, 1'000'000);
    std::vector<double> sizes;
    for (size_t i = 0; i < rows->size(); ++i) sizes.push_back(rows->row(i)[2]);
    return sizes;
  }

  test::TemporaryDirectory directory_;
  std::shared_ptr<test::FakePlan> plan_ = std::make_shared<test::FakePlan>();
  test::FakeDevice device_{plan_};
  std::unique_ptr<store::Store> store_;
  std::unique_ptr<queue::Queue> queue_;
  std::unique_ptr<Executor> executor_;
  std::atomic<int> changes_ = 0;
};

TEST_F(ExecutorTest, RunsAStudyToItsEnd) {
  Create({4, 8}, 2);
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 4);
  const auto run = store_->runs().Get(1, 3);
  EXPECT_EQ(run->step(), 4000);
  EXPECT_EQ(run->time(), 2);
  EXPECT_EQ(run->sample_count(), 17);
  EXPECT_EQ(run->device(), "cpu");
  const auto sizes = Sizes(3);
  ASSERT_EQ(sizes.size(), 17u);
  EXPECT_EQ(sizes[0], 8 + 100);       // amplitude 8, first realization
  EXPECT_EQ(sizes[16], 8 + 100 + 1);  // at the last step
  EXPECT_EQ(Sizes(4)[0], 8 + 200);    // second realization, other positions
  const auto observables = store_->series().GetObservables(1, 3);
  ASSERT_EQ(observables->size(), 3u);
  EXPECT_EQ((*observables)[1].name(), "histogram");
  EXPECT_EQ((*observables)[1].width(), 3);
  EXPECT_GT(changes_, 0);
  EXPECT_GT(executor_->rate().Reached(), 0);
}

TEST_F(ExecutorTest, RunsStudiesInOrderOfSubmission) {
  plan_->held = true;
  Create({4}, 1);
  Start();
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->state() == v1::Run::STATE_RUNNING; }));
  Create({5}, 1);
  Create({6}, 1);
  executor_->Wake();
  plan_->held = false;
  ASSERT_TRUE(WaitForEnd(3));
  const auto start = [&](int64_t study) {
    const auto time = store_->studies().Get(study)->start_time();
    return static_cast<double>(time.seconds()) + 1e-9 * time.nanos();
  };
  EXPECT_LE(start(1), start(2));
  EXPECT_LE(start(2), start(3));
  EXPECT_EQ(Counts(2).finished_count(), 1);
}

TEST_F(ExecutorTest, WakesForALaterStudy) {
  Start();
  Create({4}, 1);
  executor_->Wake();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 1);
}

TEST_F(ExecutorTest, BatchesNoMoreThanTheLimit) {
  Create({1, 2, 3, 4, 5}, 2);
  Options options;
  options.max_runs_together = 4;
  Start(options);
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 10);
  EXPECT_THAT(plan_->ensemble_sizes, ElementsAre(4, 4, 2));
}

TEST_F(ExecutorTest, BatchesNoMoreThanFitsInMemory) {
  Create({1, 2, 3}, 1);
  const auto spec = AmplitudeStudy({1, 2, 3}, 1);
  plan_->memory_bytes = 2 * test::FakeBytesOf(study::ToRunSpec(study::AtPoint(spec, {1}), spec.seeds())) + 1;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_THAT(plan_->ensemble_sizes, ElementsAre(2, 1));
}

TEST_F(ExecutorTest, HalvesAnEnsembleThatDoesNotFitInMemory) {
  Create({1, 2, 3, 4, 5}, 1);
  plan_->max_beds = 2;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 5);
  EXPECT_THAT(plan_->ensemble_sizes, Each(testing::Le(2u)));
}

TEST_F(ExecutorTest, FailsARunThatDoesNotFitInMemoryAndContinues) {
  plan_->max_beds = 0;
  Create({4}, 1);
  Start();
  ASSERT_TRUE(WaitForEnd(1));
  const auto run = store_->runs().Get(1, 1);
  EXPECT_EQ(run->state(), v1::Run::STATE_FAILED);
  EXPECT_EQ(run->fault().reason(), "OUT_OF_MEMORY");
  plan_->max_beds = 10;
  Create({4}, 1);
  executor_->Wake();
  ASSERT_TRUE(WaitForEnd(2));
  EXPECT_EQ(Counts(2).finished_count(), 1);
}

TEST_F(ExecutorTest, RunsThatOutgrowTheMemoryContinueInSmallerBatches) {
  Create({1, 2, 3, 4, 5}, 1);
  plan_->max_grown = 2;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 5);
  EXPECT_THAT(plan_->ensemble_sizes, ElementsAre(5, 2, 2, 1));
  for (int64_t run = 1; run <= 5; ++run) ExpectWholeSeries(run);
}

TEST_F(ExecutorTest, ARunThatOutgrowsTheMemoryContinuesAlone) {
  plan_->max_grown = 1;
  plan_->step_nanoseconds = 5'000'000;  // neither run has grown before both are on the device
  Options options;
  options.slice_seconds = 0.005;
  options.checkpoint_seconds = 0.01;
  const auto spec = AmplitudeStudy({4}, 1);
  for (const char* user : {"ada", "emmy"}) ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "", user).ok());
  Start(options);
  ASSERT_TRUE(WaitFor([&] {
    const std::scoped_lock lock(plan_->mutex);
    return plan_->ensemble_sizes.size() == 2;
  }));
  plan_->step_nanoseconds = 50'000;
  ASSERT_TRUE(WaitForEnd(1) && WaitForEnd(2));
  EXPECT_GT(plan_->ensemble_sizes.size(), 2u);
  for (int64_t study = 1; study <= 2; ++study) {
    EXPECT_EQ(Counts(study).finished_count(), 1);
    ExpectWholeSeries(1, study);
  }
}

TEST_F(ExecutorTest, TheLastRunOfAnEnsembleThatOutgrowsTheMemoryContinuesAlone) {
  Create({4, 100}, 1);
  plan_->unstable_above = 50;  // before it grows; its bed stays until the ensemble is released
  plan_->max_grown = 1;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 1);
  EXPECT_EQ(Counts().unstable_count(), 1);
  EXPECT_THAT(plan_->ensemble_sizes, ElementsAre(2, 1));
  ExpectWholeSeries(1);
}

TEST_F(ExecutorTest, ARunThatOutgrowsTheMemoryAloneFailsAndReportsItsNeed) {
  plan_->max_grown = 0;
  Create({4, 5}, 1);
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().failed_count(), 2);
  const auto run = store_->runs().Get(1, 2);
  EXPECT_EQ(run->fault().reason(), "OUT_OF_MEMORY");
  EXPECT_THAT(run->fault().message(), testing::ContainsRegex("needs [0-9]+ bytes of device memory"));
  EXPECT_GT(run->sample_count(), 0);
}

TEST_F(ExecutorTest, FailsRunsWhoseDeviceThrowsAndContinues) {
  plan_->broken = true;
  Create({4}, 1);
  Start();
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(store_->runs().Get(1, 1)->fault().reason(), "DEVICE");
  EXPECT_EQ(store_->runs().Get(1, 1)->fault().message(), "the fake device is broken");
  plan_->broken = false;
  Create({4}, 1);
  executor_->Wake();
  ASSERT_TRUE(WaitForEnd(2));
  EXPECT_EQ(Counts(2).finished_count(), 1);
}

TEST_F(ExecutorTest, ExitsOnALostDeviceAndTheNextProcessRunsAgain) {
  plan_->lost = true;
  Create({4, 5}, 1);
  std::atomic<int> code = 0;
  Options options;
  options.leave = [&](int with) { code = with; };
  Start(options);
  ASSERT_TRUE(WaitFor([&] { return code != 0; }));
  EXPECT_EQ(code, executor::kDeviceLostExit);
  EXPECT_EQ(Counts().failed_count(), 0);
  executor_.reset();
  store_.reset();
  Open();
  plan_->lost = false;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 2);
}

TEST_F(ExecutorTest, KeepsTheSamplesOfAnUnstableRun) {
  plan_->unstable_above = 50;
  Create({4, 100}, 1);
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 1);
  EXPECT_EQ(Counts().unstable_count(), 1);
  const auto run = store_->runs().Get(1, 2);
  EXPECT_EQ(run->state(), v1::Run::STATE_UNSTABLE);
  EXPECT_EQ(run->sample_count(), 2);
  EXPECT_EQ(run->fault().reason(), "CLOSEST_PAIR");
  EXPECT_THAT(run->fault().beads(), ElementsAre(3, 5));
  EXPECT_THAT(run->fault().position(), ElementsAre(1.5, 2.5));
  EXPECT_EQ(run->fault().step(), 500);
}

TEST_F(ExecutorTest, CancelsAtTheEndOfAChunk) {
  plan_->step_nanoseconds = 1'000'000;
  Create({4, 8}, 1);
  Create({5}, 1);
  Start();
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 0; }));
  ASSERT_TRUE(store_->studies().Cancel(1).ok());
  ASSERT_TRUE(WaitForEnd(1));
  EXPECT_EQ(Counts(1).cancelled_count(), 2);
  EXPECT_LT(store_->runs().Get(1, 1)->step(), 4000);
  EXPECT_GT(store_->runs().Get(1, 1)->sample_count(), 0);
  plan_->step_nanoseconds = 0;
  ASSERT_TRUE(WaitForEnd(2));
  EXPECT_EQ(Counts(2).finished_count(), 1);
}

TEST_F(ExecutorTest, SavesOnStopAndResumesFromThere) {
  plan_->step_nanoseconds = 100'000;
  Create({4}, 1);
  Start();
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 600; }));
  executor_.reset();
  const int64_t stopped = store_->runs().Get(1, 1)->step();
  EXPECT_LT(stopped, 4000);
  store_.reset();
  Open();
  EXPECT_EQ(store_->runs().Get(1, 1)->state(), v1::Run::STATE_QUEUED);
  EXPECT_EQ(store_->runs().Get(1, 1)->step(), stopped);
  plan_->step_nanoseconds = 0;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_THAT(plan_->loaded_steps, ElementsAre(stopped));
  ExpectWholeSeries(1);
}

// Emulates an abrupt end: nothing after the last checkpoint is recorded.
TEST_F(ExecutorTest, ResumesFromTheLastCheckpointWithoutGapOrRepeat) {
  plan_->step_nanoseconds = 200'000;
  Create({4, 8}, 1);
  Options options;
  options.checkpoint_seconds = 0.05;
  Start(options);
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 1500; }));
  Break();
  EXPECT_GT(store_->runs().Get(1, 2)->step(), 0);
  EXPECT_GT(store_->runs().Get(1, 2)->sample_count(), 0);
  plan_->step_nanoseconds = 0;
  Start();
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(plan_->loaded_steps.size(), 2u);
  ExpectWholeSeries(1);
  ExpectWholeSeries(2);
  EXPECT_TRUE(WaitFor([&] { return StateFiles() == 2; }));  // the final states of the runs; no checkpoint
}

TEST_F(ExecutorTest, KeepsFramesOverAnAbruptEndWithoutGapOrRepeat) {
  plan_->turning = true;
  plan_->step_nanoseconds = 200'000;
  auto spec = AmplitudeStudy({4, 8}, 1);
  spec.mutable_measure()->set_frame_interval(0.25);
  ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "").ok());
  Options options;
  options.checkpoint_seconds = 0.05;
  Start(options);
  ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(1, 1)->step() > 1500; }));
  Break();
  const auto at = store_->runs().Get(1, 2)->step();
  const auto left = store_->frames().List(1, 2, 0, 100);
  EXPECT_EQ(static_cast<int64_t>(left->size()), (at + 499) / 500);  // those before the checkpoint
  plan_->step_nanoseconds = 0;
  Start();
  ASSERT_TRUE(WaitForEnd());
  for (const int64_t run : {1, 2}) {
    const auto frames = store_->frames().List(1, run, 0, 100);
    ASSERT_EQ(frames->size(), 9u);
    for (size_t i = 0; i < frames->size(); ++i) {
      ASSERT_EQ((*frames)[i].step, 500 * static_cast<int64_t>(i));
      EXPECT_EQ(store_->frames().ReadKept(1, run, (*frames)[i].step)->beads.angle[3], 21 + (*frames)[i].step);
    }
    ExpectWholeSeries(run);
  }
  // Bytes that were cut off and stored again count once.
  const auto state = static_cast<int64_t>(store_->states().GetEnd(1, 1)->bytes.size());
  EXPECT_GT(store_->space().StoredBytes()->at("local"), 2 * (state + 100 + 9 * 1200));
  EXPECT_LT(store_->space().StoredBytes()->at("local"), 2 * (state + 100 + 9 * 1200) + 20'000);
}

TEST_F(ExecutorTest, ResumesFromTheCheckpointBeforeADamagedOne) {
  for (const bool both : {false, true}) {
    const int64_t study = both ? 2 : 1;
    plan_->step_nanoseconds = 200'000;
    Create({4}, 1);
    Options options;
    options.checkpoint_seconds = 0.05;
    Start(options);
    ASSERT_TRUE(WaitFor([&] { return store_->runs().Get(study, 1)->step() > 2000; }));
    Break();
    auto files = Checkpoints(study);
    ASSERT_EQ(files.size(), 2u);
    std::filesystem::resize_file(files[1], 100);  // truncated
    if (both) {
      std::fstream file(files[0], std::ios::in | std::ios::out | std::ios::binary);
      file.seekp(100);
      file.put('!');
    }
    plan_->step_nanoseconds = 0;
    plan_->loaded_steps.clear();
    Start();
    ASSERT_TRUE(WaitForEnd(study));
    EXPECT_EQ(plan_->loaded_steps.size(), both ? 0u : 1u);
    ExpectWholeSeries(1, study);
    executor_.reset();
  }
}

// Emulates a full disk: the database refuses writes, and later accepts them.
TEST_F(ExecutorTest, RetriesARefusedWriteAndLosesNothing) {
  Create({4, 8}, 1);
  sqlite3* outside = nullptr;
  ASSERT_EQ(sqlite3_open((directory_.path() + "/gyrebox.db").c_str(), &outside), SQLITE_OK);
  sqlite3_busy_timeout(outside, 10'000);
  const char* refuse =
      "CREATE TRIGGER full BEFORE INSERT ON segment BEGIN SELECT RAISE(ABORT, 'database or disk is full'); END";
  ASSERT_EQ(sqlite3_exec(outside, refuse, nullptr, nullptr, nullptr), SQLITE_OK);
  Start();
  ASSERT_TRUE(WaitFor([&] { return plan_->finished == 2; }));
  std::this_thread::sleep_for(std::chrono::milliseconds(100));  // time for a few refusals
  EXPECT_EQ(Counts().finished_count(), 0);
  EXPECT_EQ(store_->runs().Get(1, 1)->sample_count(), 0);
  ASSERT_EQ(sqlite3_exec(outside, "DROP TRIGGER full", nullptr, nullptr, nullptr), SQLITE_OK);
  sqlite3_close(outside);
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(Counts().finished_count(), 2);
  for (const int64_t number : {1, 2}) {
    const auto rows = store_->series().Read(1, number, 0, 1'000'000);
    ASSERT_EQ(rows->size(), 17u);
    for (size_t i = 0; i < rows->size(); ++i) EXPECT_EQ(rows->row(i)[0], 250 * static_cast<double>(i));
    EXPECT_TRUE(store_->states().GetEnd(1, number).ok());
  }
}

TEST_F(ExecutorTest, RetriesAStateThatCannotBeWritten) {
  Create({4}, 1);
  const std::string in_the_way = directory_.Write("states", "no directory");
  Start();
  ASSERT_TRUE(WaitFor([&] { return plan_->finished == 1; }));
  std::this_thread::sleep_for(std::chrono::milliseconds(100));  // time for a few refusals
  EXPECT_EQ(Counts().finished_count(), 0);
  std::filesystem::remove(in_the_way);
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(store_->runs().Get(1, 1)->sample_count(), 17);
  EXPECT_TRUE(store_->states().GetEnd(1, 1).ok());
}

// The disk fills up during a run: the run stops, says why, and continues when there is space.
TEST_F(ExecutorTest, ACheckpointThatCannotBeWrittenHoldsTheRunUntilItCan) {
  plan_->step_nanoseconds = 100'000;
  Create({4}, 1);
  const std::string in_the_way = directory_.Write("states", "no directory");
  Options options;
  options.checkpoint_seconds = 0.05;
  Start(options);
  ASSERT_TRUE(WaitFor([&] { return !executor_->view().trouble.empty(); }));
  const int64_t step = store_->runs().Get(1, 1)->step();
  std::this_thread::sleep_for(std::chrono::milliseconds(100));
  EXPECT_EQ(store_->runs().Get(1, 1)->step(), step);
  std::atomic<absl::StatusCode> answer = absl::StatusCode::kOk;
  executor_->Drain(true, [&](const absl::Status& status) { answer = status.code(); });
  ASSERT_TRUE(WaitFor([&] { return answer != absl::StatusCode::kOk; }));
  EXPECT_EQ(answer, absl::StatusCode::kInternal);
  std::filesystem::remove(in_the_way);
  ASSERT_TRUE(WaitForEnd());
  EXPECT_EQ(executor_->view().trouble, "");
  EXPECT_TRUE(plan_->loaded_steps.empty());
  ExpectWholeSeries(1);
}

TEST(ChunkPacerTest, FindsTheStepsForTheRequestedTime) {
  ChunkPacer pacer(0.05);
  for (int i = 0; i < 20; ++i) pacer.Took(pacer.steps(), 1e-4 * static_cast<double>(pacer.steps()));
  EXPECT_NEAR(static_cast<double>(pacer.steps()), 500, 5);
  for (int i = 0; i < 20; ++i) pacer.Took(pacer.steps(), 10);
  EXPECT_EQ(pacer.steps(), 1);
}

TEST(ChunkPacerTest, AnInterruptedChunkIsOnlyAnUpperBound) {
  ChunkPacer pacer(0.05);
  for (int i = 0; i < 20; ++i) pacer.Took(pacer.steps(), 1e-4 * static_cast<double>(pacer.steps()));
  const int64_t steps = pacer.steps();
  for (int i = 0; i < 20; ++i) pacer.Took(3, 3e-4);
  EXPECT_EQ(pacer.steps(), steps);
  pacer.Took(100, 0.1);
  EXPECT_EQ(pacer.steps(), 50);
}

TEST(KeptFramesTest, HoldBackFramesThatARollbackMayDrop) {
  KeptFrames frames(100, {.max_halvings = 1, .keep_steps = 250});
  const auto hold = [&](int64_t step) {
    EXPECT_TRUE(frames.IsDue(step)) << step;
    store::Frame frame;
    frame.step = step;
    frames.Hold(frame);
    EXPECT_FALSE(frames.IsDue(step)) << step;
  };
  std::vector<store::Frame> given;
  const auto steps = [&] {
    std::vector<int64_t> all;
    for (const store::Frame& frame : given) all.push_back(frame.step);
    return all;
  };
  EXPECT_EQ(frames.Cut(30, 1000), 70);
  EXPECT_EQ(frames.Cut(100, 40), 40);
  hold(0);
  frames.Went(0, 100, &given);
  hold(100);
  frames.Went(100, 200, &given);
  hold(200);
  EXPECT_THAT(steps(), ElementsAre(0));
  frames.Went(200, 0, &given);  // rollback: drops the frames at 100 and 200
  EXPECT_FALSE(frames.IsDue(0));
  frames.Went(0, 100, &given);
  hold(100);
  frames.Went(100, 200, &given);
  hold(200);
  frames.Went(200, 260, &given);
  EXPECT_THAT(steps(), ElementsAre(0));
  frames.Went(260, 300, &given);  // the state at 250 is kept for rollback
  EXPECT_THAT(steps(), ElementsAre(0, 100, 200));
  EXPECT_FALSE(frames.IsDue(200));
}

TEST(RateMeterTest, SeparatesTheRecentRateFromTheOverallOne) {
  RateMeter meter;
  const auto start = RateMeter::Clock::time_point{} + std::chrono::hours(1);
  EXPECT_EQ(meter.Reached(), 0);
  EXPECT_EQ(meter.Recent(start), 0);
  meter.Add(100, start, start + std::chrono::seconds(2));
  EXPECT_DOUBLE_EQ(meter.Reached(), 50);
  EXPECT_DOUBLE_EQ(meter.Recent(start + std::chrono::seconds(4)), 25);
  EXPECT_EQ(meter.Recent(start + std::chrono::seconds(60)), 0);
  EXPECT_DOUBLE_EQ(meter.Reached(), 50);
}

TEST(OptionsTest, GivesACpuAFewBedsPerThread) {
  auto plan = std::make_shared<test::FakePlan>();
  EXPECT_EQ(OptionsFor(test::FakeDevice(plan)).max_runs_together, 8);
  plan->name = "cuda:0";
  EXPECT_EQ(OptionsFor(test::FakeDevice(plan)).max_runs_together, 256);
}

}  // namespace
}  // namespace gyrebox::executor
