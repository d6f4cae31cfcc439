// The example studies shipped with the client.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "lib/client.h"
#include "lib/control_study.h"
#include "lib/study_file.h"
#include "lib/study_writer.h"
#include "test_server.h"

namespace gyrebox {
namespace {

TEST(ExampleStudyTest, EveryOneCanRun) {
  const test::TestServer server;
  client::Client client(server.address());
  int count = 0;
  for (const auto& entry : std::filesystem::directory_iterator(GYREBOX_STUDIES)) {
    SCOPED_TRACE(entry.path().string());
    ++count;
    std::ifstream in(entry.path());
    const auto file = client::ParseStudyFile({std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()});
    for (const auto& fault : file.faults) ADD_FAILURE() << fault.line << ": " << fault.field << ": " << fault.message;
    const auto checked = client.CheckStudy(file.spec);
    ASSERT_TRUE(checked.ok()) << checked.status();
    for (const auto& violation : checked->field_violations()) ADD_FAILURE() << violation.ShortDebugString();
    EXPECT_GT(checked->estimate().run_count(), 0);
    EXPECT_FALSE(checked->spec().title().empty());
    // A study that is written out and read again is unchanged.
    const auto again = client::ParseStudyFile(client::StudyFileText(checked->spec()));
    for (const auto& fault : again.faults) ADD_FAILURE() << fault.line << ": " << fault.field << ": " << fault.message;
    EXPECT_EQ(again.spec.DebugString(), checked->spec().DebugString());
  }
  EXPECT_GE(count, 5);
}

v1::StudySpec ReadExample(client::Client& client, const std::string& name) {
  std::ifstream in(GYREBOX_STUDIES + name);
  const auto file = client::ParseStudyFile({std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()});
  return client.CheckStudy(file.spec)->spec();
}

// By the definition of a control: the drives that the stages hold, other seeds, as long as all stages together.
TEST(ControlTest, StaysUnderEachDriveForTheWholeTime) {
  const test::TestServer server;
  client::Client client(server.address());
  const auto memory = ReadExample(client, "/memory.toml");
  const auto control = client::ControlOf(memory, "studies/7");
  ASSERT_TRUE(control.ok()) << control.status();
  EXPECT_TRUE(control->schedule().stages().empty());
  EXPECT_EQ(control->schedule().duration(), 180);
  EXPECT_DOUBLE_EQ(control->measure().plateau_fraction(), 0.5 * 60 / 180);
  EXPECT_NE(control->seeds().positions(), memory.seeds().positions());
  ASSERT_EQ(control->axes_size(), 1);
  EXPECT_EQ(control->axes(0).field(), "drive.sine.amplitude");
  EXPECT_THAT(control->axes(0).values(), testing::ElementsAre(14, 20));
  const auto checked = client.CheckStudy(*control);
  ASSERT_TRUE(checked.ok()) << checked.status();
  for (const auto& violation : checked->field_violations()) ADD_FAILURE() << violation.ShortDebugString();
  EXPECT_EQ(checked->estimate().run_count(), 8);
}

TEST(ControlTest, OfAStudyWithoutStagesOrWithOtherChangesIsRefused) {
  const test::TestServer server;
  client::Client client(server.address());
  EXPECT_THAT(client::ControlOf(ReadExample(client, "/film_map.toml"), "studies/7").status().message(),
              testing::HasSubstr("studies/7 has no stages"));
  auto memory = ReadExample(client, "/memory.toml");
  memory.mutable_schedule()->mutable_stages(1)->mutable_step()->set_temperature(0.1);
  EXPECT_THAT(client::ControlOf(memory, "studies/7").status().message(),
              testing::HasSubstr("changes more than the amplitude"));
}

TEST(ExampleStudyTest, AWrittenTitleKeepsItsQuotes) {
  v1::StudySpec spec;
  spec.set_title("\"coarse\" \\ fine");
  EXPECT_EQ(client::ParseStudyFile(client::StudyFileText(spec)).spec.title(), spec.title());
}

}  // namespace
}  // namespace gyrebox
