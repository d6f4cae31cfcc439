// The example studies that come with the client.
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>

#include "lib/client.h"
#include "lib/study_file.h"
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
  }
  EXPECT_GE(count, 4);
}

}  // namespace
}  // namespace gyrebox
