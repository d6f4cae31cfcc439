// Commands that show the runs, the series and the state of a study.
#include <algorithm>

#include "command_fixture.h"
#include "gyreboxd.h"
#include "study/observables.h"

namespace gyrebox::test {
namespace {

using testing::ContainsRegex;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

/// The cell of a CSV text in a line that begins with `line`, by its number from 0.
std::string CellOf(const std::string& csv, const std::string& line, int cell) {
  size_t at = csv.find("\n" + line);
  if (at == std::string::npos) return "no such line";
  ++at;
  for (int i = 0; i < cell; ++i) at = csv.find(',', at) + 1;
  return csv.substr(at, csv.find_first_of(",\r", at) - at);
}

using RunsCommandTest = DailyCommandTest;

TEST_F(RunsCommandTest, FinishedRunsHaveTheSizesThatATableAverages) {
  server_.plan().unstable_above = 50;
  SubmitAndWatch(kMapStudy);
  const Outcome runs = Gyrebox({"runs", "1", "--csv"});
  ASSERT_EQ(runs.code, 0) << runs.error;
  EXPECT_THAT(runs.out, StartsWith("# size: mean over the last plateau"));
  EXPECT_THAT(runs.out, HasSubstr("\r\nrun,drive.sine.amplitude [rad/tau],realization,audit,state,length [tau],"
                                  "spinner_weight_average_size [beads],size_is\r\n"));
  EXPECT_THAT(runs.out, HasSubstr("\nstudies/1/runs/1,4,1,,finished,2,"));
  EXPECT_EQ(CellOf(runs.out, "studies/1/runs/1,", 7), "plateau");
  // The smallest and the largest of the realizations, whose seeds are 1 to 3.
  const std::string table = Gyrebox({"table", "1", "--csv"}).out;
  EXPECT_EQ(CellOf(runs.out, "studies/1/runs/1,", 6), CellOf(table, "4,", 6));
  EXPECT_EQ(CellOf(runs.out, "studies/1/runs/3,", 6), CellOf(table, "4,", 7));
}

// An unstable fake run stops before its third sample; its size is its amplitude, plus 100 times its seed, plus the
// completed fraction of its 4000 steps.
TEST_F(RunsCommandTest, OtherRunsHaveTheirLastSample) {
  server_.plan().unstable_above = 50;
  SubmitAndWatch(kMapStudy);
  const Outcome csv = Gyrebox({"runs", "1", "--csv"});
  EXPECT_THAT(csv.out, ContainsRegex("\nstudies/1/runs/5,100,2,,unstable,[0-9.]+,300.0625,last sample\r\n"));
  const Outcome text = Gyrebox({"runs", "1"});
  EXPECT_THAT(text.out, ContainsRegex("\n *5 +100 +2 +unstable +[0-9.]+ +300.06 +last sample\n"));
  EXPECT_EQ(Gyrebox({"runs", "1", "--observable", "closest_pear"}).code, 2);
}

TEST_F(RunsCommandTest, TheSeriesOfAStudyHaveOneLinePerValue) {
  server_.plan().unstable_above = 50;
  SubmitAndWatch(kMapStudy);
  const Outcome outcome = Gyrebox({"series", "1", "--csv", "--columns", "closest_pair"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out,
              StartsWith("run,drive.sine.amplitude [rad/tau],realization,audit,step,time [tau],drive_amplitude,"
                         "drive_amplitude_unit,drive_frequency [cycles/tau],observable,unit,bin_low,bin_high,bin_unit,"
                         "value\r\nstudies/1/runs/1,4,1,,0,0,4,rad/tau,1,closest_pair,sigma,,,,0.875\r\n"));
  // Every other of 17 samples of the 3 finished runs, and the first of the 3 unstable ones.
  EXPECT_EQ(std::count(outcome.out.begin(), outcome.out.end(), '\n'), 1 + 3 * 9 + 3);
}

TEST_F(RunsCommandTest, TheSeriesOfARunMayHaveChosenColumns) {
  SubmitAndWatch(kOneRun);
  EXPECT_THAT(Gyrebox({"series", "1/1", "--csv", "--columns", "closest_pair,histogram"}).out,
              StartsWith("step,time [tau],histogram_0,histogram_1,histogram_2,closest_pair [sigma]\r\n"
                         "0,0,1,2,3,0.875\r\n"));
  EXPECT_THAT(Gyrebox({"series", "1/1", "--long", "--columns", "histogram"}).out,
              HasSubstr("\nstudies/1/runs/1,1,,0,0,4,rad/tau,1,histogram_1,,,,,2\r\n"));
  const Outcome wrong = Gyrebox({"series", "1/1", "--columns", "closest_pear"});
  EXPECT_EQ(wrong.code, 2);
  EXPECT_THAT(wrong.error, HasSubstr("did you mean closest_pair?"));
  const Outcome text = Gyrebox({"series", "1"});
  EXPECT_EQ(text.code, 2);
  EXPECT_THAT(text.error, HasSubstr("give --csv"));
}

// The definition of the pair correlations: 200 bins of 0.02 sigma from 0.
TEST(BinsTest, PairCorrelationsHaveTheBinsOfTheirDefinition) {
  Gyreboxd server;
  server.StartAndWait();
  const auto gyrebox = [&](std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), {GYREBOX, "--server", server.address()});
    return test::Run(arguments);
  };
  const std::string file = server.directory().Write("study.toml", kOneRun);
  const Outcome submitted = gyrebox({"submit", file, "--watch"});
  ASSERT_EQ(submitted.code, 0) << submitted.error;
  const Outcome series = gyrebox({"series", "1/1", "--long", "--columns", "passive_passive_correlation"});
  EXPECT_THAT(series.out, HasSubstr(",passive_passive_correlation_55,,1.1,1.12,sigma,"));
  EXPECT_THAT(series.out, Not(HasSubstr("_200,")));
}

TEST_F(RunsCommandTest, APausedStudySaysSo) {
  server_.plan().step_nanoseconds = 250'000;
  Submit(kOneRun);
  WaitForStep(1);
  ASSERT_EQ(Gyrebox({"pause", "1"}).code, 0);
  EXPECT_THAT(Gyrebox({"list"}).out, ContainsRegex("studies/1  local  paused "));
  EXPECT_THAT(Gyrebox({"show", "1"}).out, ContainsRegex("  state +paused, "));
  const std::string log = directory_.path() + "/log";
  const Process watch({GYREBOX, "--server", server_.address(), "watch", "1"}, directory_.path() + "/out", log);
  EXPECT_TRUE(WaitFor([&] { return ReadAll(log).find("paused: 1 paused") != std::string::npos; })) << ReadAll(log);
}

TEST_F(RunsCommandTest, WatchShowsSizeAndDriveOfRunningRuns) {
  server_.plan().step_nanoseconds = 1'000'000;
  Submit(kOneRun);
  WaitForStep(500);
  const std::string log = directory_.path() + "/log";
  const Process watch({GYREBOX, "--server", server_.address(), "watch", "1"}, directory_.path() + "/out", log);
  EXPECT_TRUE(WaitFor([&] { return ReadAll(log).find("cycles/tau\n") != std::string::npos; }));
  EXPECT_THAT(ReadAll(log),
              ContainsRegex("  run 1: 104\\.[0-9]+ beads at [0-9.]+ tau, drive 4 rad/tau at 1 cycles/tau\n"));
  server_.plan().step_nanoseconds = 0;
}

// The size of a fake run grows by 1 over its whole length, without noise.
TEST_F(RunsCommandTest, ATableSaysWhereASizeStillGrows) {
  std::string text = kOneRun;
  text.replace(text.find("frequency = 1"), 13, "frequency = 10");
  SubmitAndWatch(text.c_str());
  EXPECT_THAT(Gyrebox({"table", "1"}).out, HasSubstr("still growing in 1/1\n"));
  EXPECT_THAT(Gyrebox({"table", "1", "--csv"}).out, HasSubstr(",still growing in 1/1\r\n"));
}

TEST_F(RunsCommandTest, ACheckNamesTheSameStudyIfItIsStored) {
  const std::string file = File(kMapStudy);
  EXPECT_THAT(Gyrebox({"check", file}).out, Not(HasSubstr("the same study")));
  Submit(kMapStudy);
  std::string renamed = kMapStudy;
  renamed.replace(renamed.find("A map"), 5, "Again");
  const std::string again = directory_.Write("again.toml", renamed);
  EXPECT_THAT(Gyrebox({"check", again}).out,
              HasSubstr("warning: the same study was submitted before: studies/1 of local"));
  const Outcome submitted = Gyrebox({"submit", again});
  EXPECT_EQ(submitted.out, "studies/2\n");
  EXPECT_THAT(submitted.error, HasSubstr("warning: the same study was submitted before: studies/1 of local"));
  WaitForEnd();
  ASSERT_TRUE(WaitFor([&] { return client_.GetStudy("studies/2")->has_end_time(); }));
  ASSERT_TRUE(client_.DeleteStudy("studies/1").ok());
  ASSERT_TRUE(client_.DeleteStudy("studies/2").ok());
  EXPECT_THAT(Gyrebox({"check", file}).out, Not(HasSubstr("the same study")));
}

}  // namespace
}  // namespace gyrebox::test
