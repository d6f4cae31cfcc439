// Command-line output about stages, warnings, fields and units, from the real program.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "process.h"
#include "test_server.h"

namespace gyrebox {
namespace {

using test::Outcome;
using testing::HasSubstr;
using testing::Not;

constexpr char kStudy[] = R"(
[bed]
bead_count = 100
[drive.sine]
amplitude = 10
frequency = 1
[[schedule.stages]]
label = "low"
duration = 1
[[schedule.stages]]
duration = 1
ramp.temperature = 0.5
[[axes]]
field = "schedule.stages[1].step.amplitude"
values = [20]
[laboratory]
field_mt = 5
frequency_hz = 5
)";

class SchemaCommandTest : public testing::Test {
 protected:
  Outcome Gyrebox(const std::vector<std::string>& arguments) {
    std::vector<std::string> command = {GYREBOX, "--server", server_.address()};
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command);
  }

  std::string StudyFile(const std::string& text = kStudy) { return directory_.Write("study.toml", text); }

  test::TestServer server_;
  test::TemporaryDirectory directory_;
};

TEST_F(SchemaCommandTest, CheckPrintsStagesAndCautions) {
  const Outcome outcome = Gyrebox({"check", StudyFile()});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("1  low  1 tau  nothing changes"));
  EXPECT_THAT(outcome.out, HasSubstr("temperature ramps to 0.5; step.amplitude by axis"));
  EXPECT_THAT(outcome.out,
              HasSubstr("At 5 Hz the reference levels are 8 mT rms for occupational exposure and 1.6 mT rms"));
  EXPECT_THAT(outcome.out, HasSubstr("local rules"));
}

TEST_F(SchemaCommandTest, SubmitPrintsTheNameAloneAndCautionsOnTheErrorStream) {
  const Outcome outcome = Gyrebox({"submit", StudyFile()});
  EXPECT_EQ(outcome.out, "studies/1\n");
  EXPECT_THAT(outcome.error, HasSubstr("ABOVE the public level"));
}

TEST_F(SchemaCommandTest, AStudyWithoutAFieldHasNoCautions) {
  const std::string text(kStudy);
  const Outcome outcome = Gyrebox({"check", StudyFile(text.substr(0, text.find("[laboratory]")))});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, Not(HasSubstr("Cautions")));
}

TEST_F(SchemaCommandTest, ShowPrintsRecoveredFaults) {
  server_.plan().troubled_above = 5;
  ASSERT_EQ(Gyrebox({"submit", StudyFile(), "--watch"}).code, 0);
  const Outcome outcome = Gyrebox({"show", "1"});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("the residual is large"));
  EXPECT_THAT(outcome.out, HasSubstr("got past: bead 7 moved 0.2 sigma (numerical: half the time step gets past it)"));
  EXPECT_THAT(outcome.out, HasSubstr("temperature ramps to 0.5"));
  EXPECT_THAT(outcome.out, HasSubstr("Cautions"));
  EXPECT_THAT(Gyrebox({"show", "1", "--json"}).out, HasSubstr("\"state\""));
}

TEST_F(SchemaCommandTest, ThePlateauLiesInTheLastStage) {
  ASSERT_EQ(Gyrebox({"submit", StudyFile(), "--watch"}).code, 0);
  const Outcome outcome = Gyrebox({"table", "1"});
  EXPECT_THAT(outcome.out, HasSubstr("Mean over the last 50 % of the last stage of each run"));
  // The fake size is 100 plus the amplitude of the last stage, 20, plus the completed fraction of the run, whose mean
  // over the last quarter is 0.875.
  EXPECT_THAT(outcome.out, HasSubstr("120.9"));
}

TEST_F(SchemaCommandTest, FaultsOfStagesNameTheirLines) {
  const Outcome outcome = Gyrebox({"check", StudyFile(R"([bed]
bead_count = 100
density = 1
[drive.sine]
amplitude = 10
frequency = 1
[[schedule.stages]]
duration = 1
step.depth = 1
)")});
  EXPECT_EQ(outcome.code, 2);
  EXPECT_THAT(outcome.error, HasSubstr(":3: bed.density: there is no such field; give one of bed.packing_fraction, "
                                       "bed.number_density\n"));
  EXPECT_THAT(outcome.error, HasSubstr(":9: schedule.stages[0].step.depth: the wave here is sine, which has no depth"));
}

Outcome Units(std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), {GYREBOX, "--server", "127.0.0.1:1", "units"});
  return test::Run(arguments);
}

// 576 and 1728: computed by a separate program for a bead of 3 um that turns 5 times a second in water.
TEST(UnitsCommandTest, NeedsNoServer) {
  const Outcome outcome = Units({"--diameter-um", "3", "--frequency-hz", "5"});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("576.15"));
  EXPECT_THAT(outcome.out, HasSubstr("1728.4"));
  EXPECT_THAT(outcome.out, HasSubstr("Cautions"));
}

TEST(UnitsCommandTest, SaysNothingOfFieldsWhereNoneIsGiven) {
  const Outcome outcome = Units({"--diameter-um", "3", "--rate", "20", "--torque", "2", "--time", "3"});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("20 rad/tau"));
  EXPECT_THAT(outcome.out, Not(HasSubstr("Cautions")));
}

TEST(UnitsCommandTest, ConstantFieldsHaveTheirOwnLevels) {
  const Outcome outcome = Units({"--field-mt", "5", "--frequency-hz", "0"});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("400 mT for the general public"));
  EXPECT_THAT(outcome.out, HasSubstr("0.5 mT"));
}

TEST(UnitsCommandTest, RefusesWhatIsNoNumberInRange) {
  EXPECT_EQ(Units({}).code, 2);
  EXPECT_THAT(Units({"--diameter-um", "0"}).error, HasSubstr("--diameter-um needs a number over 0"));
  EXPECT_THAT(Units({"--diameter-um", "nan"}).error, HasSubstr("--diameter-um needs a number over 0"));
  EXPECT_THAT(Units({"--diameter-um", "3", "--reduced-temperature", "0"}).error,
              HasSubstr("--reduced-temperature needs a number over 0"));
  EXPECT_EQ(Units({"--field-mt", "5", "--frequency-hz", "-1"}).code, 2);
  EXPECT_EQ(Units({"--diameter-um", "three"}).code, 2);
}

}  // namespace
}  // namespace gyrebox
