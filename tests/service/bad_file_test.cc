// Invalid study files, given to the real command line: each is refused with its line, its field and the valid
// alternative, and the server keeps running.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "process.h"
#include "test_server.h"

namespace gyrebox {
namespace {

using test::Outcome;
using testing::HasSubstr;

struct BadFile {
  const char* name;
  const char* text;
  const char* complaint;  ///< expected text of a stderr line after the path of the file
};

const char kHead[] = "[bed]\nbead_count = 100\n[drive.sine]\namplitude = 4\nfrequency = 1\n[schedule]\nduration = 2\n";

const BadFile kBadFiles[] = {
    // ---- not TOML
    {"Empty", "", ":1: the file is empty; a study needs at least the following"},
    {"EmptyAndWhatFollows", "", ":1: bed.bead_count: is missing; give a whole number, at least 1 and at most 1e8"},
    {"OnlyAComment", "# nothing\n", ":1: the file is empty"},
    {"NoToml", "[bed\nbead_count = 100\n", ":1: this is not valid TOML"},
    {"NoValue", "[bed]\nbead_count =\n", ":2: this is not valid TOML"},
    {"OpenText", "title = \"abc\n", ":1: this is not valid TOML"},
    {"KeyTwice", "[bed]\nbead_count = 100\nbead_count = 200\n", ":3: this is not valid TOML"},
    {"TableTwice", "[bed]\nbead_count = 100\n[bed]\n", ":3: this is not valid TOML"},
    {"NotUtf8", "title = \"\xff\xfe\"\n", ":1: this is not valid TOML"},
    {"Binary", "\x7f\x45\x4c\x46\x02\x01", ":1: this is not valid TOML"},

    // ---- not in the schema
    {"UnknownKey", "[bed]\nbead_count = 100\nbead_cuont = 1\n",
     ":3: bed.bead_cuont: there is no such field; did you mean bead_count?"},
    {"UnknownTable", "[bde]\nbead_count = 100\n", ":1: bde: there is no such field; did you mean bed?"},
    {"KeyInTheWrongTable", "[bed]\ntemperature = 1\n",
     ":2: bed.temperature: there is no such field; did you mean thermal.temperature?"},
    {"KeyLikeNothing", "[drag]\nxyzzy = 1\n",
     ":2: drag.xyzzy: there is no such field; the fields here are translational, rotational"},
    {"FieldOfAnEmptyChoice", "[drive.rate]\nxyzzy = 1\n",
     ":2: drive.rate.xyzzy: there is no such field; it has no fields"},
    {"ChoiceByItsName", "[drive]\nwaveform = \"sine\"\n",
     ":2: drive.waveform: there is no such field; a choice is a table; give one of [drive.steady], [drive.sine]"},
    {"TwoChoices", "[drive.sine]\namplitude = 4\nfrequency = 1\n[drive.steady]\namplitude = 1\n",
     ":1: drive.sine: this is a second choice beside drive.steady; give one of the two"},
    {"TwoQuantities", "[drive.rate]\n[drive.torque]\n", ":2: drive.torque: this is a second choice beside drive.rate"},

    // ---- wrong type
    {"TextForANumber", "[bed]\nbead_count = \"many\"\n", ":2: bed.bead_count: \"many\" is a text; give a whole number"},
    {"HalfABead", "[bed]\nbead_count = 100.5\n", ":2: bed.bead_count: 100.5 is not a whole number; give one"},
    {"TruthForANumber", "[thermal]\ntemperature = true\n",
     ":2: thermal.temperature: true is a truth value; give a number"},
    {"NumberForATruth", "[trials]\nvary_noise = 1\n", ":2: trials.vary_noise: 1 is a whole number; give true or false"},
    {"NumberForAText", "title = 5\n", ":1: title: 5 is a whole number; give a text"},
    {"DateForANumber", "[thermal]\ntemperature = 2020-01-01\n",
     ":2: thermal.temperature: this is a date or time; give a number"},
    {"NumberForATable", "drive = 5\n", ":1: drive: 5 is a whole number; give a table, [drive]"},
    {"TableForANumber", "[bed.bead_count]\nx = 1\n", ":1: bed.bead_count: this is a table; give a whole number"},
    {"ListForANumber", "[bed]\nbead_count = [1, 2]\n", ":2: bed.bead_count: this is a list; give a whole number"},
    {"AxesAsATable", "[axes]\nfield = \"x\"\n", ":1: axes: this is a table; give tables, [[axes]]"},
    {"AxisAsANumber", "axes = [1]\n", ":1: axes[0]: 1 is a whole number; give a table, [[axes]]"},
    {"AxisValuesNoList", "[[axes]]\nvalues = 3\n", ":2: axes[0].values: 3 is a whole number; give a list of numbers"},
    {"AxisValueAText", "[[axes]]\nvalues = [1, \"x\"]\n", ":2: axes[0].values[1]: \"x\" is a text; give a number"},
    {"SeedBelowZero", "[seeds]\nnoise = -1\n", ":2: seeds.noise: -1 is below 0; give a whole number from 0"},
    {"CountTooLargeForItsType", "[trials]\ncount = 3000000000\n",
     ":2: trials.count: 3000000000 is out of range; from -2147483648 to 2147483647"},

    // ---- out of range
    {"NegativeBeads", "[bed]\nbead_count = -5\n", ":2: bed.bead_count: -5 is too small; at least 1"},
    {"TooManyBeads", "[bed]\nbead_count = 1000000000000\n", ":2: bed.bead_count: 1e12 is too large; at most 1e8"},
    {"PackedTooClose", "[bed]\nbead_count = 100\npacking_fraction = 0.95\n",
     ":3: bed.packing_fraction: 0.95 is too large; at most 0.9069 (close packing of equal discs)"},
    {"NanTemperature", "[thermal]\ntemperature = nan\n", ":2: thermal.temperature: nan is not a finite number; give"},
    {"InfiniteDuration", "[schedule]\nduration = inf\n", ":2: schedule.duration: inf is not a finite number; give"},
    {"MinusInfiniteFriction", "[friction]\nnormal = -inf\n", ":2: friction.normal: -inf is not a finite number; give"},
    {"ZeroFrequency", "[drive.sine]\namplitude = 1\nfrequency = 0\n",
     ":3: drive.sine.frequency: 0 is too small; over 0 cycles/tau"},
    {"NegativeDuration", "[schedule]\nduration = -1\n", ":2: schedule.duration: -1 is too small; over 0 tau"},
    {"NoTrials", "[trials]\ncount = 0\n", ":2: trials.count: 0 is too small; at least 1"},
    {"FrictionExponent", "[friction]\nexponent = 3\n", ":2: friction.exponent: 3 is too large; at most 2"},

    // ---- missing
    {"NoBeads", "[bed]\npacking_fraction = 0.5\n", ":1: bed.bead_count: is missing; give a whole number"},
    {"NoSchedule", "[bed]\nbead_count = 100\n", ":1: schedule.duration: is missing; give a number, over 0"},
    {"NoFrequency", "[bed]\nbead_count = 9\n[drive.sine]\namplitude = 4\n",
     ":3: drive.sine.frequency: is missing; give a number, over 0"},
};

const BadFile kBadTails[] = {
    {"AxisOfNoField", "[[axes]]\nfield = \"drive.sine.amplitde\"\nvalues = [1]\n",
     ":9: axes[0].field: drive.sine.amplitde names no field; did you mean drive.sine.amplitude?"},
    {"AxisOfChoiceNotTaken", "[[axes]]\nfield = \"drive.steady.amplitude\"\nvalues = [1]\n",
     ":9: axes[0].field: drive.steady.amplitude belongs to a choice not taken; the study has drive.sine"},
    {"AxisWithoutField", "[[axes]]\nvalues = [1]\n", ":8: axes[0].field: is missing"},
    {"AxisWithoutValues", "[[axes]]\nfield = \"drive.sine.amplitude\"\nvalues = []\n",
     ":8: axes[0]: gives no values; give values, linear or logarithmic"},
    {"AxisValueOutOfRange", "[[axes]]\nfield = \"bed.packing_fraction\"\nvalues = [\n0.5,\n0.92]\n",
     ":12: axes[0].values[1]: 0.92 is too large; at most 0.9069"},
    {"AxisValueTwice", "[[axes]]\nfield = \"drive.sine.amplitude\"\nvalues = [1, 1]\n",
     ":10: axes[0].values[1]: 1 is there twice"},
    {"AxisOfTrials", "[[axes]]\nfield = \"trials.count\"\nvalues = [1, 2]\n",
     ":9: axes[0].field: trials.count is the same in all runs of a study"},
    {"AxisOfTwoKinds",
     "[[axes]]\nfield = \"drive.sine.amplitude\"\nvalues = [1]\n[axes.linear]\nfirst=1\nlast=2\ncount=2\n",
     ":8: axes[0]: gives both values and a spacing; give one of the two"},
    {"AxisOfTwoSpacings",
     "[[axes]]\nfield = \"drive.sine.amplitude\"\n[axes.linear]\nfirst=1\nlast=2\ncount=2\n"
     "[axes.logarithmic]\nfirst=1\nlast=2\ncount=2\n",
     ":14: axes[0].logarithmic: this is a second choice beside axes[0].linear; give one of the two"},
    {"RatiosFromZero", "[[axes]]\nfield = \"drive.sine.amplitude\"\n[axes.logarithmic]\nfirst=0\nlast=2\ncount=2\n",
     ":10: axes[0].logarithmic: equal ratios need first and last on the same side of 0"},
    {"ABillionRuns",
     "[[axes]]\nfield = \"drive.sine.amplitude\"\nlinear = {first=1, last=2, count=1000}\n"
     "[[axes]]\nfield = \"friction.normal\"\nlinear = {first=1, last=2, count=1000}\n[trials]\ncount=1000\n",
     ":8: axes: axes and trials make 1e9 runs, which is too many; at most 100000"},
    {"FewStepsAPeriod", "[dynamics]\ntime_step = 0.1\n",
     ":5: drive.sine.frequency: 1 cycles/tau leaves 10 steps a period, which is too few; at least 20"},
    {"ShorterThanAStep", "[dynamics]\ntime_step = 0.05\n[measure]\ninterval = 0.01\n",
     ":11: measure.interval: 0.01 tau is shorter than one step; at least the time step of 0.05 tau"},
    {"HealthLimit", "[health]\nclosest_pair = 2\n", ":9: health.closest_pair: 2 is too large; at most 1 sigma"},
};

class BadFileTest : public testing::Test {
 protected:
  void ExpectRefused(const BadFile& bad, const std::string& text) {
    SCOPED_TRACE(bad.name);
    const std::string path = directory_.Write(std::string(bad.name) + ".toml", text);
    for (const char* command : {"check", "submit"}) {
      const Outcome outcome = test::Run({GYREBOX, "--server", server_.address(), command, path});
      EXPECT_EQ(outcome.code, 2) << command;
      EXPECT_EQ(outcome.out, "") << command;
      EXPECT_THAT(outcome.error, HasSubstr(path + bad.complaint)) << command;
    }
  }

  void TearDown() override {
    const Outcome list = test::Run({GYREBOX, "--server", server_.address(), "list"});
    EXPECT_EQ(list.code, 0);
    EXPECT_THAT(list.out, HasSubstr("no studies yet")) << "a bad file was stored";
    const std::string good = directory_.Write("good.toml", kHead);
    const Outcome submit = test::Run({GYREBOX, "--server", server_.address(), "submit", good});
    EXPECT_EQ(submit.code, 0) << submit.error;
    EXPECT_EQ(submit.out, "studies/1\n");
  }

  test::TestServer server_;
  test::TemporaryDirectory directory_;
};

TEST_F(BadFileTest, WholeFiles) {
  for (const BadFile& bad : kBadFiles) ExpectRefused(bad, bad.text);
}

TEST_F(BadFileTest, SoundFilesWithABadTail) {
  for (const BadFile& bad : kBadTails) ExpectRefused(bad, std::string(kHead) + bad.text);
}

TEST_F(BadFileTest, NoFile) {
  const Outcome outcome = test::Run({GYREBOX, "--server", server_.address(), "check", "/nowhere/study.toml"});
  EXPECT_EQ(outcome.code, 2);
  EXPECT_THAT(outcome.error, HasSubstr("cannot read /nowhere/study.toml"));
  EXPECT_EQ(test::Run({GYREBOX, "--server", server_.address(), "check", directory_.path()}).code, 2);
}

TEST_F(BadFileTest, AllFaultsOfAFileAtOnce) {
  const std::string path = directory_.Write("many.toml",
                                            "[bed]\nbead_count = \"x\"\npacking_fraction = 2\nshape = 1\n"
                                            "[friction]\nexponent = 7\n");
  const Outcome outcome = test::Run({GYREBOX, "--server", server_.address(), "check", path});
  EXPECT_EQ(outcome.code, 2);
  for (const char* complaint : {":2: bed.bead_count: ", ":3: bed.packing_fraction: ", ":4: bed.shape: ",
                                ":6: friction.exponent: ", ":1: schedule.duration: "}) {
    EXPECT_THAT(outcome.error, HasSubstr(path + complaint));
  }
}

}  // namespace
}  // namespace gyrebox
