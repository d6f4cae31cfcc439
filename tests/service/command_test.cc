// The real command line against a server with a fake device.
#include <gmock/gmock.h>
#include <google/protobuf/util/json_util.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "example_studies.h"
#include "gyrebox/v1/analysis.pb.h"
#include "gyrebox/v1/machine.pb.h"
#include "gyrebox/v1/run_service.pb.h"
#include "gyrebox/v1/study_service.pb.h"
#include "lib/client.h"
#include "process.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::Outcome;
using testing::HasSubstr;
using testing::Not;

constexpr char kStudy[] = R"(title = "A map, \"small\""
[bed]
bead_count = 100
[drive.sine]
frequency = 1
[schedule]
duration = 2
[[axes]]
field = "drive.sine.amplitude"
values = [4, 100]
[trials]
count = 3
)";

class CommandTest : public testing::Test {
 protected:
  CommandTest() { server_.plan().unstable_above = 50; }

  Outcome Gyrebox(const std::vector<std::string>& arguments) {
    std::vector<std::string> command = {GYREBOX, "--server", server_.address()};
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command);
  }

  std::string StudyFile() { return directory_.Write("study.toml", kStudy); }

  /// Submits kStudy and follows it to the end.
  void SubmitAndWatch() {
    const Outcome outcome = Gyrebox({"submit", StudyFile(), "--watch"});
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    ASSERT_EQ(outcome.out, "studies/1\n");
    ASSERT_THAT(outcome.error, HasSubstr("studies/1: 3 finished, 3 unstable"));
  }

  template <class Message>
  Message Json(const std::vector<std::string>& arguments) {
    const Outcome outcome = Gyrebox(arguments);
    EXPECT_EQ(outcome.code, 0) << outcome.error;
    Message message;
    const auto status = google::protobuf::util::JsonStringToMessage(outcome.out, &message);
    EXPECT_TRUE(status.ok()) << status.ToString() << "\n" << outcome.out;
    return message;
  }

  test::TestServer server_;
  test::TemporaryDirectory directory_;
};

// The file is read back with a general-purpose XML reader. Its required contents are given in The VTK User's Guide,
// 11th edition (Kitware, 2010), section 19.3, "XML File Formats".
TEST_F(CommandTest, FrameWritesFilesThatOtherProgramsRead) {
  SubmitAndWatch();
  const std::string vtp = directory_.path() + "/bed.vtp", csv = directory_.path() + "/bed.csv";
  const Outcome outcome = Gyrebox({"frame", "1/2", vtp});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.error, HasSubstr("at step 4000: 100 beads"));
  const Outcome read = test::Run({"/usr/bin/python3", "-c", R"(
import sys, xml.etree.ElementTree as tree
root = tree.parse(sys.argv[1]).getroot()
piece = root.find('PolyData/Piece')
arrays = {a.get('Name'): a.text.split() for a in root.iter('DataArray')}
print(root.tag, root.get('type'), root.get('byte_order'), piece.get('NumberOfPoints'), piece.get('NumberOfVerts'))
print(len(arrays['position [sigma]']), len(arrays['kind']), len(arrays['angle [rad]']))
print(arrays['connectivity'] == [str(i) for i in range(100)], arrays['offsets'] == [str(i + 1) for i in range(100)])
print(sum(int(k) for k in arrays['kind']), arrays['TimeValue'], arrays['step'])
side = float(arrays['side_x [sigma]'][0])
print(all(0 <= float(x) <= side for x in arrays['position [sigma]'][0::3]), set(arrays['position [sigma]'][2::3]))
)",
                                  vtp});
  EXPECT_EQ(read.out, "VTKFile PolyData LittleEndian 100 100\n300 100 100\nTrue True\n30 ['2'] ['4000']\nTrue {'0'}\n")
      << read.error;
  ASSERT_EQ(Gyrebox({"frame", "1/2", csv, "--step", "4000"}).code, 0);
  const std::string text = test::ReadAll(csv);
  EXPECT_THAT(text, testing::StartsWith("# studies/1/runs/2 at step 4000, time 2 tau\r\n"));
  EXPECT_THAT(text, HasSubstr("\r\nx [sigma],y [sigma],angle [rad],kind\r\n0,"));
  EXPECT_EQ(std::count(text.begin(), text.end(), '\n'), 4 + 1 + 100);
}

TEST_F(CommandTest, FrameShowsTheRequestedWindow) {
  SubmitAndWatch();
  const std::string csv = directory_.path() + "/part.csv";
  const Outcome part = Gyrebox({"frame", "1/2", csv, "--window", "-1", "2", "4", "3.5"});
  ASSERT_EQ(part.code, 0) << part.error;
  EXPECT_THAT(part.error, testing::ContainsRegex("at step 4000: [0-9]+ beads? of 100\n"));
  EXPECT_THAT(test::ReadAll(csv), HasSubstr("# shown from -1, 2 on, 4 by 3.5 sigma\r\n"));
  const Outcome wide = Gyrebox({"frame", "1/2", csv, "--window", "0", "0", "4000", "3"});
  EXPECT_EQ(wide.code, 2);
  EXPECT_THAT(wide.error, HasSubstr("window.width"));
}

TEST_F(CommandTest, FrameReportsFaults) {
  SubmitAndWatch();
  const Outcome format = Gyrebox({"frame", "1/2", directory_.path() + "/bed.png"});
  EXPECT_EQ(format.code, 2);
  EXPECT_THAT(format.error, HasSubstr("ends in .vtp or .csv"));
  EXPECT_EQ(Gyrebox({"frame", "1/2", directory_.path() + "/a.csv", "--step", "-3"}).code, 2);
  const Outcome before = Gyrebox({"frame", "1/2", directory_.path() + "/a.csv", "--step", "3"});
  EXPECT_EQ(before.code, 3);
  EXPECT_THAT(before.error, HasSubstr("neither a frame nor a state at that step or before it"));
}

TEST_F(CommandTest, StoredFramesAreMeasuredAgain) {
  const std::string file = directory_.Write("framed.toml", std::string(kStudy) + "[measure]\nframe_interval = 0.5\n");
  ASSERT_EQ(Gyrebox({"submit", file, "--watch"}).code, 0);
  const Outcome series = Gyrebox({"series", "1/1", "--bond-length", "1.4", "--wave-shells", "1:5", "--csv"});
  ASSERT_EQ(series.code, 0) << series.error;
  EXPECT_EQ(std::count(series.out.begin(), series.out.end(), '\n'), 1 + 5);
  EXPECT_THAT(series.out, HasSubstr("spinner_weight_average_size [beads]"));
  EXPECT_THAT(series.out, Not(HasSubstr("msd_spinner")));
  const std::string folder = directory_.path() + "/again";
  const Outcome report = Gyrebox({"report", "1", folder, "--bond-length", "1.4"});
  ASSERT_EQ(report.code, 0) << report.error;
  EXPECT_THAT(report.out, HasSubstr("measured again on the kept frames with a cluster cutoff of 1.4 sigma"));
  EXPECT_THAT(test::ReadAll(folder + "/answers.json"), HasSubstr("\"caption\": "));
}

TEST_F(CommandTest, MeasuringAgainReportsFaults) {
  SubmitAndWatch();
  const Outcome none = Gyrebox({"series", "1/2", "--bond-length", "1.4"});
  EXPECT_EQ(none.code, 3);
  EXPECT_THAT(none.error, HasSubstr("keeps no frames to measure again"));
  const Outcome range = Gyrebox({"series", "1/2", "--wave-shells", "9"});
  EXPECT_EQ(range.code, 2);
  EXPECT_THAT(range.error, HasSubstr("--wave-shells 9 is no range; give FIRST:LAST"));
  const Outcome field = Gyrebox({"series", "1/2", "--bond-length", "9"});
  EXPECT_EQ(field.code, 2);
  EXPECT_THAT(field.error, HasSubstr("measure.bond_length: 9 is too large"));
  const Outcome report = Gyrebox({"report", "1", directory_.path() + "/r", "--bond-length", "9"});
  EXPECT_EQ(report.code, 2);
  EXPECT_THAT(report.error, HasSubstr("options.measure_again.bond_length: 9 is too large"));
}

TEST_F(CommandTest, CheckReportsTheCostOfAStudy) {
  const Outcome outcome = Gyrebox({"check", StudyFile()});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("can run"));
  EXPECT_THAT(outcome.out, HasSubstr("6 (2 points, 3 realizations each)"));
  EXPECT_THAT(outcome.out, HasSubstr("a first guess"));
  EXPECT_EQ(Json<v1::CheckStudyResponse>({"check", "--json", StudyFile()}).estimate().run_count(), 6);
}

TEST_F(CommandTest, SubmitPrintsTheNameAloneAndWarnsOnTheErrorStream) {
  const Outcome outcome = Gyrebox({"submit", StudyFile()});
  EXPECT_EQ(outcome.code, 0);
  EXPECT_EQ(outcome.out, "studies/1\n");
  EXPECT_THAT(outcome.error, testing::MatchesRegex("warning: schedule: a stage lasts 2 periods of the drive[^\n]*\n"));
}

TEST_F(CommandTest, AStudyWhoseRunsAllBecomeUnstableIsNoSuccess) {
  server_.plan().unstable_above = 1;
  const Outcome outcome = Gyrebox({"submit", StudyFile(), "--watch"});
  EXPECT_EQ(outcome.code, 3);
  EXPECT_EQ(outcome.out, "studies/1\n");
  EXPECT_THAT(outcome.error, HasSubstr("every run of studies/1 became unstable"));
}

TEST_F(CommandTest, UnitsGiveTheLinesOfAStudyAndSayWhatIsMissing) {
  const Outcome outcome = Gyrebox({"units", "--diameter-um", "4.5", "--field-mt", "2"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("[laboratory]\nbead_diameter_um = 4.5\n"));
  EXPECT_THAT(outcome.out, HasSubstr("--moment-am2"));
  EXPECT_THAT(outcome.out, HasSubstr("tau = 3 pi viscosity diameter^3"));
  EXPECT_THAT(Gyrebox({"units", "--diameter-um", "4.5e-6"}).error, HasSubstr("was it given in metres?"));
}

TEST_F(CommandTest, ACheckWarnsOfWhatIsProbablyNotMeant) {
  const Outcome outcome = Gyrebox({"check", StudyFile()});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("warning: schedule: a stage lasts 2 periods of the drive"));
}

TEST_F(CommandTest, ShowGivesTheReasonOfEarlyStops) {
  SubmitAndWatch();
  for (const char* name : {"1", "studies/1"}) {
    const Outcome outcome = Gyrebox({"show", name});
    EXPECT_EQ(outcome.code, 0);
    EXPECT_THAT(outcome.out, HasSubstr("studies/1  A map, \"small\""));
    EXPECT_THAT(outcome.out, HasSubstr("finished, 100 % done"));
    EXPECT_THAT(outcome.out, HasSubstr("6: 3 finished, 3 unstable"));
    EXPECT_THAT(outcome.out, HasSubstr("drive.sine.amplitude: 4, 100"));
    EXPECT_THAT(outcome.out, HasSubstr("unstable  beads 3 and 5 came within 0.5 sigma"));
  }
  EXPECT_EQ(Json<v1::Study>({"show", "1", "--json"}).run_counts().unstable_count(), 3);
}

// More runs than one page of the list holds; the last 600 have amplitude 100.
TEST_F(CommandTest, ShowCountsEveryRunOfALargeStudy) {
  std::string text = kStudy;
  text.replace(text.find("count = 3"), 9, "count = 600");
  const Outcome submitted = Gyrebox({"submit", directory_.Write("large.toml", text), "--watch"});
  ASSERT_THAT(submitted.error, HasSubstr("600 finished, 600 unstable"));
  const Outcome outcome = Gyrebox({"show", "1"});
  EXPECT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, testing::ContainsRegex("\n *601 +100 +1 +unstable"));
  EXPECT_THAT(outcome.out, testing::ContainsRegex("\n *1200 +100 +600 +unstable"));
}

TEST_F(CommandTest, TableMarksUnstablePoints) {
  SubmitAndWatch();
  const Outcome outcome = Gyrebox({"table", "1"});
  EXPECT_EQ(outcome.code, 0);
  EXPECT_THAT(outcome.out, HasSubstr("[rad/tau]"));
  EXPECT_THAT(outcome.out, HasSubstr("204.8  100             187  48.92 to 714.6  104.8 to 304.8             3\n"));
  EXPECT_THAT(outcome.out, HasSubstr("0  unstable 3/3\n"));
  EXPECT_THAT(outcome.out, HasSubstr("left out of the averages"));
  EXPECT_EQ(Json<v1::StudyTable>({"table", "1", "--json"}).rows_size(), 2);
}

TEST_F(CommandTest, TableAsCsv) {
  SubmitAndWatch();
  const Outcome outcome = Gyrebox({"table", "1", "--csv", "--observable", "closest_pair"});
  EXPECT_EQ(outcome.out,
            "drive.sine.amplitude [rad/tau],closest_pair_mean [sigma],closest_pair_standard_deviation [sigma],"
            "closest_pair_geometric_mean [sigma],closest_pair_low [sigma],closest_pair_high [sigma],"
            "closest_pair_smallest [sigma],closest_pair_largest [sigma],"
            "trials,unstable,failed,cancelled,changed,waiting,left_out,"
            "half_step,half_step_change,half_step_low,half_step_high,half_step_moves,note\r\n"
            "4,0.875,0,0.875,0.875,0.875,0.875,0.875,3,0,0,0,0,0,0,not audited,,,,,\r\n"
            "100,,,,,,,,0,3,0,0,0,0,0,not audited,,,,,\r\n");
}

TEST_F(CommandTest, TableOfAnUnknownObservable) {
  SubmitAndWatch();
  const Outcome outcome = Gyrebox({"table", "1", "--observable", "closest_pear"});
  EXPECT_EQ(outcome.code, 2);
  EXPECT_THAT(outcome.error, HasSubstr("did you mean closest_pair?"));
}

TEST_F(CommandTest, Series) {
  SubmitAndWatch();
  const Outcome text = Gyrebox({"series", "1/1"});
  EXPECT_EQ(text.code, 0);
  EXPECT_EQ(std::count(text.out.begin(), text.out.end(), '\n'), 2 + 17);
  EXPECT_THAT(text.out, Not(HasSubstr("histogram")));
  for (const char* name : {"1/1", "1/runs/1", "studies/1/runs/1"}) {
    const Outcome csv = Gyrebox({"series", name, "--csv"});
    EXPECT_THAT(csv.out, testing::StartsWith("step,time [tau],spinner_weight_average_size [beads],histogram_0,"
                                             "histogram_1,histogram_2,closest_pair [sigma]\r\n"
                                             "0,0,104,1,2,3,0.875\r\n250,0.125,104.0625,1,2,3,\r\n"));
  }
  EXPECT_EQ(Json<v1::ListSamplesResponse>({"series", "1/1", "--json"}).samples_size(), 17);
}

std::string ReadFile(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  EXPECT_TRUE(in.is_open()) << path;
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

TEST_F(CommandTest, ReportWritesAnswersAndTheDataOfPlots) {
  SubmitAndWatch();
  const std::string folder = directory_.path() + "/reports/first";
  const Outcome outcome = Gyrebox({"report", "1", folder, "--onset-factor", "2"});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
  EXPECT_THAT(outcome.out, HasSubstr("How large do the domains grow, and where?\n  The largest size is "));
  v1::Answers answers;
  ASSERT_TRUE(google::protobuf::util::JsonStringToMessage(ReadFile(folder + "/answers.json"), &answers).ok());
  EXPECT_EQ(answers.study(), "studies/1");
  EXPECT_EQ(answers.options().onset_factor(), 2);
  EXPECT_EQ(answers.options().equal_fraction(), 0.25);
  EXPECT_FALSE(answers.software_version().empty());
  const std::string map = ReadFile(folder + "/map.csv");
  EXPECT_THAT(map, testing::StartsWith("drive_sine_amplitude,size,"));
  EXPECT_THAT(ReadFile(folder + "/codebook.csv"),
              HasSubstr("\r\nmap.csv,size,beads,Geometric mean over realizations."));
  EXPECT_THAT(map, HasSubstr(",unstable 3/3\r\n"));
  EXPECT_THAT(ReadFile(folder + "/quantities.csv"), HasSubstr("unstable_range"));
  EXPECT_THAT(ReadFile(folder + "/runs.csv"), HasSubstr("\r\n3,4,3,3,1,1,finished,2,17,cpu,,,,\r\n"));
  // Every sample of a run is a row.
  const std::string samples = ReadFile(folder + "/samples.csv");
  EXPECT_THAT(samples, testing::StartsWith("run,drive_sine_amplitude,realization,time,"));
  int count = 0;
  for (size_t at = samples.find("\n3,"); at != std::string::npos; at = samples.find("\n3,", at + 1)) ++count;
  EXPECT_EQ(count, Json<v1::ListSamplesResponse>({"series", "1/3", "--json"}).samples_size());
  const Outcome data = Gyrebox({"report", "1", folder + "/data", "--data-only"});
  EXPECT_EQ(data.code, 0) << data.error;
  EXPECT_EQ(ReadFile(folder + "/data/samples.csv"), samples);
  EXPECT_FALSE(std::filesystem::exists(folder + "/data/report.html"));
  // The study file in a report can be submitted again for an equal study.
  const Outcome again = Gyrebox({"submit", folder + "/study.toml"});
  EXPECT_EQ(again.code, 0) << again.error;
  const auto first = Json<v1::Study>({"show", "1", "--json"}), second = Json<v1::Study>({"show", "2", "--json"});
  EXPECT_EQ(first.spec().DebugString(), second.spec().DebugString());
}

// 14 points with 3 realizations each; those of the last two points are repeated with half the step.
TEST_F(CommandTest, RunsThatAuditTheTimeStepAreCountedShownAndNamed) {
  std::string text = kStudy;
  text.replace(text.find("[4, 100]"), 8, "[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 100]");
  text += "[audit]\nmax_cost = 0.3\n[dynamics]\ntime_step = 5e-4\n";
  const std::string file = directory_.Write("map.toml", text);
  const Outcome checked = Gyrebox({"check", file});
  EXPECT_THAT(checked.out, HasSubstr("48 (14 points, 3 realizations each; and the audit)"));
  EXPECT_THAT(checked.out,
              testing::ContainsRegex("audit +6 runs more, at 2 points with half the time step; 29 % more work"));
  ASSERT_EQ(Gyrebox({"submit", file, "--watch"}).code, 0);
  const Outcome shown = Gyrebox({"show", "1"});
  EXPECT_THAT(shown.out, testing::ContainsRegex("audit +6 of them, with half the time step"));
  EXPECT_THAT(shown.out, testing::ContainsRegex("\n *42 +100 +3 +unstable"));
  EXPECT_THAT(shown.out, testing::ContainsRegex("\n *43 \\(audit\\) +100 +1 +unstable"));
  const Outcome table = Gyrebox({"table", "1"});
  EXPECT_THAT(table.out, HasSubstr("half step"));
  EXPECT_THAT(table.out, testing::ContainsRegex(" 3 +holds within [0-9]+ %\n"));
  EXPECT_THAT(table.out, testing::ContainsRegex(" 0 +not audited +unstable 3/3\n"));
  const std::string folder = directory_.path() + "/audited";
  ASSERT_EQ(Gyrebox({"report", "1", folder}).code, 0);
  EXPECT_THAT(ReadFile(folder + "/runs.csv"), HasSubstr(",half step\r\n44,100,2,"));
  EXPECT_THAT(ReadFile(folder + "/quantities.csv"),
              HasSubstr("not audited; 3 of 3 runs with the step and 3 of 3 runs with half of it became unstable"));
}

TEST_F(CommandTest, ACheckSaysWhyNothingIsAudited) {
  EXPECT_THAT(Gyrebox({"check", StudyFile()}).out, testing::ContainsRegex("audit +none; see audit.max_cost"));
  const Outcome dear =
      Gyrebox({"check", directory_.Write("dear.toml", std::string(kStudy) +
                                                          "[audit]\nmax_cost = 0.5\n[dynamics]\ntime_step = 5e-4\n")});
  EXPECT_THAT(dear.out, HasSubstr("none: one point takes 66.7 % of the work of the study; audit.max_cost allows 50 %"));
  const Outcome bad = Gyrebox({"check", directory_.Write("bad.toml", std::string(kStudy) + "[audit]\nmax_cost = 3\n")});
  EXPECT_EQ(bad.code, 2);
  EXPECT_THAT(bad.out + bad.error, HasSubstr("audit.max_cost: 3 is too large"));
}

TEST_F(CommandTest, ReportPageHoldsAllDataAndEscapesMarkup) {
  const std::string study =
      "title = \"</script><!-- <b>\"\n" + std::string(kStudy).substr(std::string(kStudy).find("[bed]"));
  ASSERT_EQ(Gyrebox({"submit", directory_.Write("broken_out.toml", study), "--watch"}).code, 0);
  const std::string folder = directory_.path() + "/page";
  const Outcome outcome = Gyrebox({"report", "1", folder});
  ASSERT_EQ(outcome.code, 0) << outcome.error;
#ifdef GYREBOX_HAS_NPM
  const std::string page = ReadFile(folder + "/report.html");
  EXPECT_THAT(page, HasSubstr("\\u003c/script\\u003e\\u003c!-- \\u003cb\\u003e"));
  EXPECT_THAT(page, Not(HasSubstr("</script><!--")));
  EXPECT_THAT(page, Not(HasSubstr("%GYREBOX_REPORT_DATA%")));
  EXPECT_LT(page.size(), 500'000u);
#else
  EXPECT_THAT(outcome.error, HasSubstr("no report.html: this client was built without npm"));
#endif
}

TEST_F(CommandTest, ReportReportsFaults) {
  SubmitAndWatch();
  const std::string file = directory_.Write("file", "");
  const Outcome no_folder = Gyrebox({"report", "1", file});
  EXPECT_EQ(no_folder.code, 3);
  EXPECT_THAT(no_folder.error, HasSubstr("cannot "));
  const Outcome bad_fraction = Gyrebox({"report", "1", directory_.path() + "/a", "--equal-fraction", "7"});
  EXPECT_EQ(bad_fraction.code, 2);
  EXPECT_THAT(bad_fraction.error, HasSubstr("options.equal_fraction: 7 is too large; at most 1"));
  EXPECT_EQ(Gyrebox({"report", "5", directory_.path() + "/a"}).code, 3);
}

TEST_F(CommandTest, ListAndMachine) {
  EXPECT_THAT(Gyrebox({"list"}).out, HasSubstr("There are no studies yet"));
  SubmitAndWatch();
  const Outcome list = Gyrebox({"list"});
  EXPECT_THAT(list.out, HasSubstr("studies/1  local  finished  100 %  3 finished, 3 unstable"));
  EXPECT_EQ(Json<v1::ListStudiesResponse>({"list", "--json"}).studies_size(), 1);
  EXPECT_THAT(Gyrebox({"machine"}).out, HasSubstr("cpu, a device without physics"));
  EXPECT_EQ(Json<v1::Machine>({"machine", "--json"}).devices(0).name(), "cpu");
}

TEST_F(CommandTest, NotesAndLabels) {
  SubmitAndWatch();
  EXPECT_EQ(Gyrebox({"note", "1", "first line\nsecond line"}).code, 0);
  const Outcome label = Gyrebox({"label", "1", "winter", "film"});
  EXPECT_EQ(label.code, 0) << label.error;
  EXPECT_EQ(label.out, "film\nwinter\n");
  EXPECT_EQ(Gyrebox({"label", "1"}).out, "film\nwinter\n");
  EXPECT_EQ(Gyrebox({"label", "1", "2026", "--drop", "winter"}).out, "2026\nfilm\n");
  const Outcome show = Gyrebox({"show", "1"});
  EXPECT_THAT(show.out, testing::ContainsRegex("labels +2026, film"));
  EXPECT_THAT(show.out, testing::ContainsRegex("note +first line\n +second line"));
  EXPECT_THAT(Gyrebox({"list", "--label", "film"}).out, testing::ContainsRegex("studies/1 .*2026, film"));
  EXPECT_THAT(Gyrebox({"list", "--label", "winter"}).out, HasSubstr("There are no such studies."));
  EXPECT_THAT(Gyrebox({"list", "--owner", "max"}).out, HasSubstr("There are no such studies."));
  const Outcome bad = Gyrebox({"label", "1", "two words", "more words"});
  EXPECT_EQ(bad.code, 2);
  EXPECT_THAT(bad.error, HasSubstr("study.labels[2]: is no label; give 1 to 40 letters"));
  EXPECT_THAT(bad.error, HasSubstr("study.labels[3]: is no label"));
}

TEST_F(CommandTest, Exclude) {
  SubmitAndWatch();
  EXPECT_EQ(Gyrebox({"exclude", "1/2"}).code, 2);
  EXPECT_EQ(Gyrebox({"exclude", "1/2", "--why", "x", "--undo"}).code, 2);
  const Outcome done = Gyrebox({"exclude", "1/2", "--why", "dust in the cell"});
  EXPECT_EQ(done.code, 0) << done.error;
  EXPECT_THAT(Gyrebox({"show", "1"}).out, testing::ContainsRegex("\n +2 +local .*dust in the cell"));
  const Outcome table = Gyrebox({"table", "1"});
  EXPECT_THAT(table.out, HasSubstr("2  left out 1/3\n"));
  EXPECT_THAT(table.out, HasSubstr("says who and why"));
  EXPECT_THAT(Gyrebox({"list"}).out, HasSubstr("3 finished, 3 unstable; 1 left out by hand"));
  EXPECT_EQ(Gyrebox({"exclude", "1/2", "--undo"}).code, 0);
  EXPECT_THAT(Gyrebox({"table", "1"}).out, Not(HasSubstr("left out 1/3")));
  EXPECT_EQ(Gyrebox({"exclude", "1/2", "--undo"}).code, 3);
}

TEST_F(CommandTest, Grow) {
  SubmitAndWatch();
  const Outcome grown = Gyrebox({"grow", "1", "--trials", "1", "drive.sine.amplitude=8,16", "drive.sine.frequency=2"});
  EXPECT_EQ(grown.code, 0) << grown.error;
  EXPECT_THAT(grown.error, HasSubstr("studies/1: 26 runs added; "));
  EXPECT_THAT(Gyrebox({"show", "1"}).out, HasSubstr("drive.sine.amplitude: 4, 8, 16, 100"));
  EXPECT_EQ(Gyrebox({"watch", "1"}).code, 0);
  EXPECT_EQ(Json<v1::StudyTable>({"table", "1", "--json"}).rows_size(), 8);
  for (const char* axis : {"drive.sine.amplitude", "drive.sine.amplitude=", "drive.sine.amplitude=4,x", "=4"}) {
    const Outcome bad = Gyrebox({"grow", "1", axis});
    EXPECT_EQ(bad.code, 2) << axis;
    EXPECT_THAT(bad.error, HasSubstr("adds no values; give FIELD=VALUE,VALUE")) << axis;
  }
  const Outcome unknown = Gyrebox({"grow", "1", "--trials", "-2", "drive.sine.amplitud=5"});
  EXPECT_EQ(unknown.code, 2);
  EXPECT_THAT(unknown.error, HasSubstr("gyrebox: add_trials: -2 trials cannot be added to 4"));
  EXPECT_THAT(unknown.error, HasSubstr("did you mean drive.sine.amplitude?"));
}

TEST_F(CommandTest, ArchiveAndDelete) {
  SubmitAndWatch();
  EXPECT_EQ(Gyrebox({"archive", "1"}).code, 0);
  EXPECT_THAT(Gyrebox({"list"}).out, HasSubstr("There are no studies"));
  EXPECT_THAT(Gyrebox({"list", "--all"}).out, testing::ContainsRegex("studies/1 .*archived"));
  EXPECT_THAT(Gyrebox({"show", "1"}).out, testing::ContainsRegex("archived +not in lists"));
  EXPECT_EQ(Gyrebox({"archive", "1", "--undo"}).code, 0);
  EXPECT_THAT(Gyrebox({"list"}).out, HasSubstr("studies/1"));
  const Outcome asked = Gyrebox({"delete", "1"});  // without a terminal there is no prompt
  EXPECT_EQ(asked.code, 3);
  EXPECT_THAT(asked.error, HasSubstr("6 runs (3 finished, 3 unstable) with all their data"));
  EXPECT_THAT(asked.error, testing::ContainsRegex(", [0-9.]+ [KM]iB on disk"));
  EXPECT_THAT(asked.error, HasSubstr("nothing was deleted; give --yes"));
  EXPECT_EQ(Gyrebox({"show", "1"}).code, 0);
  const Outcome deleted = Gyrebox({"delete", "1", "--yes"});
  EXPECT_EQ(deleted.code, 0) << deleted.error;
  EXPECT_EQ(Gyrebox({"show", "1"}).code, 3);
  EXPECT_EQ(Gyrebox({"delete", "1", "--yes"}).code, 3);
}

// A server checks its retention rules at start; here the stored studies exceed keep_gib.
TEST(DeletionWarningTest, IsShownUntilTheStudyIsArchived) {
  api::ServerOptions options = test::Unhindered();
  options.retention.keep_gib = 1e-9;
  test::TestServer server(std::make_shared<test::FakePlan>(), options);
  const test::TemporaryDirectory directory;
  const auto gyrebox = [&](std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), {GYREBOX, "--server", server.address()});
    return test::Run(arguments);
  };
  ASSERT_EQ(gyrebox({"submit", directory.Write("study.toml", kStudy), "--watch"}).code, 0);
  EXPECT_THAT(gyrebox({"list"}).out, Not(HasSubstr("to be deleted")));
  server.Stop();
  server.Start();
  ASSERT_TRUE(test::WaitFor([&] { return gyrebox({"list"}).out.find("to be deleted 2") != std::string::npos; }));
  const Outcome show = gyrebox({"show", "1"});
  EXPECT_THAT(show.out, testing::ContainsRegex("DELETED +from 2.* UTC on: all studies together take more than"));
  EXPECT_THAT(show.out, HasSubstr("gyrebox archive 1 keeps it"));
  EXPECT_EQ(gyrebox({"archive", "1"}).code, 0);
  EXPECT_THAT(gyrebox({"show", "1"}).out, Not(HasSubstr("DELETED")));
}

TEST_F(CommandTest, CancelOnce) {
  server_.plan().step_nanoseconds = 1'000'000;
  ASSERT_EQ(Gyrebox({"submit", StudyFile()}).code, 0);
  const Outcome first = Gyrebox({"cancel", "1"});
  EXPECT_EQ(first.code, 0) << first.error;
  const Outcome second = Gyrebox({"cancel", "studies/1"});
  EXPECT_EQ(second.code, 3);
  EXPECT_THAT(second.error, HasSubstr("studies/1 is cancelled already"));
  EXPECT_EQ(Gyrebox({"watch", "1"}).code, 3);  // the stream ends, but the study is not complete
}

TEST_F(CommandTest, WatchAsJsonIsOneMessageALine) {
  SubmitAndWatch();
  const Outcome outcome = Gyrebox({"watch", "1", "--json"});
  EXPECT_EQ(outcome.code, 0);
  std::istringstream lines(outcome.out);
  int count = 0;
  for (std::string line; std::getline(lines, line); ++count) {
    v1::WatchRunsResponse message;
    ASSERT_TRUE(google::protobuf::util::JsonStringToMessage(line, &message).ok()) << line;
    EXPECT_EQ(message.sequence(), count);
  }
  EXPECT_EQ(count, 7);  // the study and its six runs
}

TEST_F(CommandTest, WatchEndsWithTheAnswers) {
  SubmitAndWatch();
  const Outcome outcome = Gyrebox({"watch", "1"});
  EXPECT_EQ(outcome.code, 0);
  EXPECT_THAT(outcome.out, testing::StartsWith("From 3 of 6 runs:\nThe largest size is "));
  EXPECT_THAT(outcome.error, Not(HasSubstr("largest size")));
}

TEST_F(CommandTest, WatchOnATerminalShowsTheAnswersSoFar) {
  server_.plan().step_nanoseconds = 100'000;
  ASSERT_EQ(Gyrebox({"submit", StudyFile()}).code, 0);
  // Uses script from Debian's base system, which gives a program a terminal.
  const Outcome outcome = test::Run({"/usr/bin/script", "--quiet", "--return", "--command",
                                     std::string(GYREBOX) + " --server " + server_.address() + " watch 1",
                                     directory_.path() + "/typescript"});
  EXPECT_EQ(outcome.code, 0) << outcome.out;
  EXPECT_THAT(outcome.out, HasSubstr("\r\x1b[J["));  // the progress bar, redrawn in place
  EXPECT_THAT(outcome.out, HasSubstr("From 3 of 6 runs:"));
}

TEST_F(CommandTest, ReportsMissingObjects) {
  for (const char* command : {"show", "watch", "table", "cancel"}) {
    const Outcome outcome = Gyrebox({command, "99"});
    EXPECT_EQ(outcome.code, 3) << command;
    EXPECT_THAT(outcome.error, HasSubstr("there is no study studies/99")) << command;
  }
  EXPECT_EQ(Gyrebox({"series", "99/1"}).code, 3);
}

TEST_F(CommandTest, ReportsBadOptions) {
  EXPECT_EQ(Gyrebox({}).code, 2);
  const Outcome unknown = Gyrebox({"serie", "1/1"});
  EXPECT_EQ(unknown.code, 2);
  EXPECT_EQ(unknown.error, "gyrebox: there is no command serie; did you mean series?\n");
  EXPECT_EQ(Gyrebox({"pirouette"}).error, "gyrebox: there is no command pirouette; gyrebox --help lists them\n");
  EXPECT_EQ(Gyrebox({"show"}).code, 2);
  EXPECT_EQ(Gyrebox({"list", "--fancy"}).code, 2);
  EXPECT_EQ(Gyrebox({"--help"}).code, 0);
  EXPECT_EQ(Gyrebox({"--version"}).code, 0);
}

TEST_F(CommandTest, ReportsThatNoServerAnswers) {
  const std::string address = server_.address();
  const std::string file = StudyFile();
  server_.Stop();
  for (const std::vector<std::string>& command : std::vector<std::vector<std::string>>{
           {"list"}, {"show", "1"}, {"table", "1"}, {"submit", file}, {"check", file}, {"machine"}}) {
    std::vector<std::string> whole = {GYREBOX, "--server", address};
    whole.insert(whole.end(), command.begin(), command.end());
    const Outcome outcome = test::Run(whole);
    EXPECT_EQ(outcome.code, 4) << command[0];
    EXPECT_THAT(outcome.error, HasSubstr("no answer from a server at " + address)) << command[0];
  }
}

TEST_F(CommandTest, TakesTheServerFromTheEnvironment) {
  setenv("GYREBOX_SERVER", server_.address().c_str(), 1);
  EXPECT_EQ(test::Run({GYREBOX, "list"}).code, 0);
  unsetenv("GYREBOX_SERVER");
}

// A store may hold text that current servers would refuse.
TEST(HostileTextTest, ATitleCannotChangeWhatATerminalShows) {
  constexpr char kTitle[] = "=HYPERLINK(1)\x1b[2J\xE2\x80\xAEtxt";
  constexpr char kShown[] = "=HYPERLINK(1)\\u{1b}[2J\\u{202e}txt";
  test::TestServer server(std::make_shared<test::FakePlan>(), test::Unhindered(), [&](store::Store& store) {
    v1::StudySpec spec = test::AmplitudeStudy({1}, 1);
    spec.set_title(kTitle);
    ASSERT_TRUE(store.studies().Create(spec, test::NewRuns(spec), "").ok());
  });
  const auto shown = [&](const std::vector<std::string>& arguments) {
    std::vector<std::string> command = {GYREBOX, "--server", server.address()};
    command.insert(command.end(), arguments.begin(), arguments.end());
    const Outcome outcome = test::Run(command);
    EXPECT_THAT(outcome.out + outcome.error, AllOf(Not(HasSubstr("\x1b")), Not(HasSubstr("\xE2\x80\xAE"))))
        << arguments[0];
    return outcome.out + outcome.error;
  };
  EXPECT_THAT(shown({"list"}), HasSubstr(kShown));
  EXPECT_THAT(shown({"show", "1"}), HasSubstr(kShown));
  EXPECT_THAT(shown({"delete", "1"}), HasSubstr(kShown));
  EXPECT_THAT(shown({"list", "--json"}), HasSubstr("=HYPERLINK(1)\\u001b[2J\\u202etxt"));
  const test::TemporaryDirectory directory;
  shown({"report", "1", directory.path()});
  for (const char* file : {"answers.json", "study.toml"}) {
    const std::string text = test::ReadAll(directory.path() + "/" + file);
    EXPECT_THAT(text, HasSubstr("\\u001b[2J\\u202etxt")) << file;
    EXPECT_THAT(text, AllOf(Not(HasSubstr("\x1b")), Not(HasSubstr("\xE2\x80\xAE")))) << file;
  }
#ifdef GYREBOX_HAS_NPM
  EXPECT_THAT(test::ReadAll(directory.path() + "/report.html"), HasSubstr("\\\\u{1b}[2J\\\\u{202e}txt"));
#endif
}

TEST(HostileTextTest, TheServerRefusesSuchText) {
  test::TestServer server;
  client::Client client(server.address());
  v1::StudySpec spec = test::BareStudy();
  spec.set_title("\xE2\x81\xA6title");
  EXPECT_EQ(client.CheckStudy(spec)->field_violations(0).field(), "title");
  spec.set_title("\xC2\x9Btitle");
  EXPECT_EQ(client.CheckStudy(spec)->field_violations(0).field(), "title");
  ASSERT_TRUE(client.CreateStudy(test::BareStudy()).ok());
  v1::ExcludeRunRequest exclude;
  exclude.set_name("studies/1/runs/1");
  exclude.set_reason("because\xE2\x80\x8F");
  EXPECT_EQ(client::ViolationsOf(client.ExcludeRun(exclude).status())[0].field(), "reason");
  v1::UpdateStudyRequest note;
  note.mutable_study()->set_name("studies/1");
  note.mutable_update_mask()->add_paths("note");
  note.mutable_study()->set_note("two\n\tlines");
  EXPECT_TRUE(client.UpdateStudy(note).ok());
  note.mutable_study()->set_note("two\xE2\x80\xAElines");
  EXPECT_EQ(client::ViolationsOf(client.UpdateStudy(note).status())[0].field(), "study.note");
}

}  // namespace
}  // namespace gyrebox
