// The example studies shipped with the client.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "lib/client.h"
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

TEST(ExampleStudyTest, AWrittenTitleKeepsItsQuotes) {
  v1::StudySpec spec;
  spec.set_title("\"coarse\" \\ fine");
  EXPECT_EQ(client::ParseStudyFile(client::StudyFileText(spec)).spec.title(), spec.title());
}

}  // namespace
}  // namespace gyrebox
