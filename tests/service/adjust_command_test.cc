// Commands that plan and withdraw changes of runs.
#include "command_fixture.h"

namespace gyrebox::test {
namespace {

using testing::ContainsRegex;
using testing::HasSubstr;
using testing::Not;

class AdjustCommandTest : public DailyCommandTest {
 protected:
  Outcome Adjust(const std::string& change, const std::string& at) {
    return Gyrebox({"adjust", "1/1", change, "--at", at});
  }
  std::string Drives() { return Gyrebox({"series", "1/1", "--long", "--columns", "closest_pair"}).out; }
};

TEST_F(AdjustCommandTest, TheJournalShowsOldValuesBesideNewOnes) {
  Drain(true);
  Submit(kOneRun);
  ASSERT_EQ(Adjust("drive.sine.amplitude=20", "1").code, 0);
  ASSERT_EQ(Adjust("drive.sine.amplitude=30", "1.5").code, 0);
  ASSERT_EQ(Adjust("drive.sine.amplitude=10", "0.5").code, 0);
  const std::string journal = Gyrebox({"journal", "1/1"}).out;
  EXPECT_THAT(journal, ContainsRegex("\n1 .* 2000 +1  amplitude 4 -> 20\n"));
  EXPECT_THAT(journal, ContainsRegex("\n2 .* 3000 +1.5  amplitude 20 -> 30\n"));
  EXPECT_THAT(journal, ContainsRegex("\n3 .* 1000 +0.5  amplitude 4 -> 10\n"));
}

TEST_F(AdjustCommandTest, APlannedChangeOfAWaitingRunIsWithdrawn) {
  Drain(true);
  Submit(kOneRun);
  ASSERT_EQ(Adjust("drive.sine.amplitude=20", "1").code, 0);
  ASSERT_EQ(Adjust("drive.sine.amplitude=30", "1.5").code, 0);
  const Outcome outcome = Gyrebox({"withdraw", "1/1", "1"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  const std::string journal = Gyrebox({"journal", "1/1"}).out;
  EXPECT_THAT(journal, HasSubstr("amplitude 4 -> 20; withdrawn\n"));
  EXPECT_THAT(journal, ContainsRegex("\n3 .*  withdrew 1\n"));
  EXPECT_EQ(Gyrebox({"withdraw", "1/1", "1"}).code, 3);  // once
  EXPECT_EQ(Gyrebox({"withdraw", "1/1", "3"}).code, 3);  // no change
  EXPECT_EQ(Gyrebox({"withdraw", "1/1", "9"}).code, 3);
  Drain(false);
  WaitForEnd();
  const std::string drives = Drives();
  EXPECT_THAT(drives, HasSubstr(",2500,1.25,4,rad/tau,"));
  EXPECT_THAT(drives, HasSubstr(",3000,1.5,30,rad/tau,"));
}

TEST_F(AdjustCommandTest, APlannedChangeOfARunOnTheDeviceIsWithdrawn) {
  server_.plan().step_nanoseconds = 250'000;
  Submit(kOneRun);
  WaitForStep(1);
  ASSERT_EQ(Adjust("drive.sine.amplitude=20", "1.9").code, 0);
  const Outcome outcome = Gyrebox({"withdraw", "1/1", "1"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  server_.plan().step_nanoseconds = 0;
  WaitForEnd();
  EXPECT_THAT(Drives(), HasSubstr(",4000,2,4,rad/tau,"));
  // The device measured under the old amplitude too: it, plus 100 times the seed 1, plus the completed fraction 1.
  EXPECT_THAT(Gyrebox({"series", "1/1", "--csv"}).out, HasSubstr("\n4000,2,105,"));
  // Averages keep a run whose change never took effect.
  EXPECT_THAT(Gyrebox({"table", "1"}).out, Not(HasSubstr("changed")));
  const Outcome late = Gyrebox({"withdraw", "1/1", "1"});
  EXPECT_EQ(late.code, 3);
}

TEST_F(AdjustCommandTest, ATimeThatHasPassedIsRefusedWithThePresentOne) {
  server_.plan().step_nanoseconds = 250'000;
  Submit(kOneRun);
  WaitForStep(500);
  ASSERT_EQ(Gyrebox({"pause", "1/1"}).code, 0);
  const auto run = client_.GetRun("studies/1/runs/1");
  for (const char* name : {"1/1", "1"}) {
    const Outcome outcome = Gyrebox({"adjust", name, "drive.sine.amplitude=20", "--at", "0.1"});
    EXPECT_EQ(outcome.code, 2);
    EXPECT_THAT(outcome.error, HasSubstr("time: 0.1 tau has passed: studies/1/runs/1 is at step "));
    EXPECT_THAT(outcome.error, ContainsRegex("at step [0-9]+, [0-9.]+ tau; give a later time"));
  }
  EXPECT_EQ(client_.GetRun("studies/1/runs/1")->etag(), run->etag());
  EXPECT_EQ(Adjust("drive.sine.amplitude=20", "1.9").code, 0);
}

}  // namespace
}  // namespace gyrebox::test
