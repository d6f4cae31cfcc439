// Commands that extend, grow and restart studies.
#include "command_fixture.h"

namespace gyrebox::test {
namespace {

using testing::ContainsRegex;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::Not;

using GrowthCommandTest = DailyCommandTest;

TEST_F(GrowthCommandTest, AWholeStudyIsExtended) {
  SubmitAndWatch(kMapStudy);
  const Outcome outcome = Gyrebox({"extend", "1", "1"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.error, HasSubstr("studies/1: "));
  WaitForEnd();
  for (int run = 1; run <= 6; ++run) {
    const auto extended = client_.GetRun("studies/1/runs/" + std::to_string(run));
    EXPECT_EQ(extended->state(), v1::Run::STATE_FINISHED);
    EXPECT_NEAR(extended->time(), 3, 5e-4);  // 2 tau and 1 more, in whole steps of at most 5e-4 tau
  }
  const Outcome bad = Gyrebox({"extend", "1", "0"});
  EXPECT_EQ(bad.code, 2);
  EXPECT_THAT(bad.error, HasSubstr("0 is no time to add"));
}

TEST_F(GrowthCommandTest, ADryRunSaysWhatWouldBeAddedAndAddsNothing) {
  Submit(kMapStudy);
  WaitForEnd();
  const Outcome outcome = Gyrebox({"grow", "1", "--trials", "1", "drive.sine.amplitude=50", "--dry-run"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  // One more realization at 2 points, and 4 at the new one.
  EXPECT_THAT(outcome.out, HasSubstr("studies/1: 6 runs would be added; "));
  EXPECT_THAT(outcome.out, ContainsRegex("(about [0-9]+ s|under a second) on this machine alone"));
  EXPECT_EQ(client_.GetStudy("studies/1")->run_counts().total_count(), 6);
  EXPECT_EQ(Gyrebox({"grow", "1", "--trials", "1", "drive.sine.amplitud=50", "--dry-run"}).code, 2);
}

TEST_F(GrowthCommandTest, TheLastGrowthIsTakenBackWhileItWaits) {
  Submit(kMapStudy);
  WaitForEnd();
  const auto before = client_.GetStudy("studies/1");
  const auto run = client_.GetRun("studies/1/runs/1");
  EXPECT_EQ(Gyrebox({"grow", "1", "--undo"}).code, 3);
  Drain(true);
  ASSERT_EQ(Gyrebox({"grow", "1", "--trials", "2", "drive.sine.frequency=2"}).code, 0);
  ASSERT_EQ(client_.GetStudy("studies/1")->run_counts().total_count(), 20);
  const Outcome outcome = Gyrebox({"grow", "1", "--undo"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.error, HasSubstr("studies/1: last growth taken back; 6 finished"));
  const auto after = client_.GetStudy("studies/1");
  EXPECT_EQ(after->spec().DebugString(), before->spec().DebugString());
  EXPECT_EQ(after->state(), v1::Study::STATE_FINISHED);
  EXPECT_EQ(after->run_counts().total_count(), 6);
  EXPECT_EQ(client_.GetRun("studies/1/runs/1")->DebugString(), run->DebugString());
  EXPECT_TRUE(absl::IsNotFound(client_.GetRun("studies/1/runs/7").status()));
  EXPECT_EQ(Gyrebox({"grow", "1", "--undo"}).code, 3);  // once
  // It can grow again.
  Drain(false);
  ASSERT_EQ(Gyrebox({"grow", "1", "--trials", "1"}).code, 0);
  WaitForEnd();
  EXPECT_EQ(client_.GetStudy("studies/1")->run_counts().finished_count(), 8);
  const Outcome started = Gyrebox({"grow", "1", "--undo"});
  EXPECT_EQ(started.code, 3);
  EXPECT_THAT(started.error, HasSubstr("its run studies/1/runs/7 has started or was changed"));
}

TEST_F(GrowthCommandTest, CancelledRunsAreNotFailedAndStartAgain) {
  Drain(true);
  Submit(kMapStudy);
  const Outcome none = Gyrebox({"restart", "1"});
  EXPECT_EQ(none.code, 3);
  EXPECT_THAT(none.error, HasSubstr("no run of studies/1 is cancelled"));
  ASSERT_EQ(Gyrebox({"cancel", "1"}).code, 0);
  const std::string table = Gyrebox({"table", "1"}).out;
  EXPECT_THAT(table, HasSubstr("cancelled 3/3"));
  EXPECT_THAT(table, Not(HasSubstr("failed")));
  Drain(false);
  const Outcome one = Gyrebox({"restart", "1/2"});
  EXPECT_EQ(one.code, 0) << one.error;
  EXPECT_THAT(one.error, HasSubstr("studies/1/runs/2: 1 cancelled run queued again"));
  WaitForEnd();
  EXPECT_EQ(client_.GetStudy("studies/1")->run_counts().finished_count(), 1);
  const Outcome outcome = Gyrebox({"restart", "1"});
  EXPECT_THAT(outcome.error, HasSubstr("studies/1: 5 cancelled runs queued again"));
  WaitForEnd();
  const auto study = client_.GetStudy("studies/1");
  EXPECT_EQ(study->state(), v1::Study::STATE_FINISHED);
  EXPECT_EQ(study->run_counts().finished_count(), 6);
}

TEST_F(GrowthCommandTest, RunsThatWereCancelledOnTheDeviceRunFromTheirStart) {
  server_.plan().step_nanoseconds = 250'000;
  Submit(kOneRun);
  WaitForStep(500);
  ASSERT_EQ(Gyrebox({"cancel", "1"}).code, 0);
  ASSERT_TRUE(WaitFor([&] { return client_.GetRun("studies/1/runs/1")->state() == v1::Run::STATE_CANCELLED; }));
  server_.plan().step_nanoseconds = 0;
  ASSERT_EQ(Gyrebox({"restart", "1"}).code, 0);
  WaitForEnd();
  const auto run = client_.GetRun("studies/1/runs/1");
  EXPECT_EQ(run->state(), v1::Run::STATE_FINISHED);
  EXPECT_EQ(run->sample_count(), 17);  // every 250 of 4000 steps, and step 0
}

}  // namespace
}  // namespace gyrebox::test
