// Recovered faults of runs, from the device to the store, and the migration that added their column.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "example_studies.h"
#include "executor/executor.h"
#include "fake_device.h"
#include "temporary_directory.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;

std::unique_ptr<store::Store> Open(const test::TemporaryDirectory& directory) {
  auto store = store::Store::Open(directory.path());
  EXPECT_TRUE(store.ok()) << store.status();
  return *std::move(store);
}

/// Runs a study of two amplitudes to its end on a device that fails at the second.
void RunTroubled(const test::TemporaryDirectory& directory, double unstable_above = 1e300) {
  const auto store = Open(directory);
  const auto plan = std::make_shared<test::FakePlan>();
  plan->troubled_above = 5;
  plan->unstable_above = unstable_above;
  test::FakeDevice device(plan);
  queue::Queue queue(*store);
  executor::Executor executor(*store, device, queue, {.chunk_seconds = 0.002, .record_seconds = 0.005}, [](int64_t) {});
  const auto spec = AmplitudeStudy({4, 8}, 1);
  ASSERT_TRUE(store->studies().Create(spec, NewRuns(spec), "").ok());
  executor.Start();
  ASSERT_TRUE(test::WaitFor([&] { return store->studies().Get(1)->has_end_time(); }));
}

TEST(RunNotesTest, RecoveredFaultsStayWithTheRun) {
  const test::TemporaryDirectory directory;
  RunTroubled(directory);
  const auto store = Open(directory);
  const auto run = store->runs().Get(1, 2);
  ASSERT_TRUE(run.ok()) << run.status();
  EXPECT_EQ(run->state(), v1::Run::STATE_FINISHED);
  EXPECT_EQ(run->warning(), "the residual is large");
  ASSERT_EQ(run->recovered_faults_size(), 1);
  EXPECT_EQ(run->recovered_faults(0).reason(), "LARGEST_MOVE");
  EXPECT_EQ(run->recovered_faults(0).message(), "bead 7 moved 0.2 sigma");
  EXPECT_EQ(run->recovered_faults(0).cause(), v1::Fault::CAUSE_NUMERICAL);
  EXPECT_EQ(run->recovered_faults(0).step(), 500);
  EXPECT_FALSE(run->has_fault());
  EXPECT_EQ(store->runs().List(1, 1, 1)->at(0).warning(), run->warning());
}

TEST(RunNotesTest, ASoundRunHasNone) {
  const test::TemporaryDirectory directory;
  RunTroubled(directory);
  const auto run = Open(directory)->runs().Get(1, 1);
  ASSERT_TRUE(run.ok());
  EXPECT_EQ(run->warning(), "");
  EXPECT_EQ(run->recovered_faults_size(), 0);
}

TEST(RunNotesTest, AnUnstableRunSaysWhetherHalfTheStepWasTried) {
  const test::TemporaryDirectory directory;
  RunTroubled(directory, /*unstable_above=*/3);
  const auto run = Open(directory)->runs().Get(1, 1);
  ASSERT_TRUE(run.ok());
  EXPECT_EQ(run->state(), v1::Run::STATE_UNSTABLE);
  EXPECT_EQ(run->fault().cause(), v1::Fault::CAUSE_NOT_TRIED);
}

TEST(RunNotesTest, ARestartedRunClearsThem) {
  const test::TemporaryDirectory directory;
  {
    const auto store = Open(directory);
    const auto spec = AmplitudeStudy({4}, 1);
    ASSERT_TRUE(store->studies().Create(spec, NewRuns(spec), "").ok());
    ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
    store::RunUpdate update;
    update.number = 1;
    update.warning = "odd";
    update.recovered_faults.emplace_back().set_reason("LARGEST_MOVE");
    ASSERT_TRUE(store->runs().RecordProgress(1, std::vector{update}).ok());
    ASSERT_EQ(store->runs().Get(1, 1)->recovered_faults_size(), 1);
  }
  const auto run = Open(directory)->runs().Get(1, 1);  // as after a crash
  EXPECT_EQ(run->state(), v1::Run::STATE_QUEUED);
  EXPECT_EQ(run->warning(), "");
  EXPECT_EQ(run->recovered_faults_size(), 0);
}

}  // namespace
}  // namespace gyrebox
