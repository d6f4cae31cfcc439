// Real servers whose CUDA device fails; the device is a module that does its work on the host.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <map>

#include "gyreboxd.h"
#include "temporary_directory.h"

namespace gyrebox {
namespace {

using test::Gyreboxd;
using testing::AllOf;
using testing::HasSubstr;

constexpr int kDeviceLost = 7;

/// The server next to our module: it looks for one in its own directory.
class Program {
 public:
  Program() {
    std::filesystem::copy_file(GYREBOXD, path());
    std::filesystem::copy_file(TROUBLED_MODULE, directory_.path() + "/libgyrebox_cuda.so");
  }
  std::string path() const { return directory_.path() + "/gyreboxd"; }

 private:
  test::TemporaryDirectory directory_;
};

class DeviceTroubleTest : public testing::Test {
 protected:
  void TearDown() override {
    unsetenv("GYREBOX_TEST_LAUNCHES");
    unsetenv("GYREBOX_TEST_MEMORY_KIB");
  }

  static v1::StudySpec Study(int beads, double duration) {
    v1::StudySpec spec;
    spec.mutable_bed()->set_bead_count(beads);
    spec.mutable_drive()->mutable_sine()->set_amplitude(20);
    spec.mutable_drive()->mutable_sine()->set_frequency(1);
    spec.mutable_thermal()->set_temperature(0.002);
    spec.mutable_schedule()->set_duration(duration);
    return spec;
  }

  /// Samples of the runs of a study, and their final states.
  static std::string Results(const Gyreboxd& server, const std::string& study) {
    client::Client client(server.address());
    std::string all;
    EXPECT_TRUE(client
                    .ForRuns(study,
                             [&](const v1::Run& run) {
                               EXPECT_EQ(run.state(), v1::Run::STATE_FINISHED);
                               all += client.ListSamples(run.name())->SerializeAsString();
                             })
                    .ok());
    const std::string number = study.substr(study.find('/') + 1) + "-";
    std::map<std::string, std::filesystem::path> states;  // by the file name after the study number
    for (const auto& entry : std::filesystem::directory_iterator(server.Data() + "/states")) {
      const std::string name = entry.path().filename();
      if (name.starts_with(number)) states[name.substr(number.size())] = entry.path();
    }
    for (const auto& [name, path] : states) all += name + test::ReadAll(path);
    return all;
  }

  const Program program_;
};

// A failed launch makes the device unusable for this process, but not for the next.
TEST_F(DeviceTroubleTest, ALostDeviceEndsTheServerAndTheNextContinuesWithTheSameBits) {
  v1::StudySpec spec = Study(100, 4);
  spec.mutable_trials()->set_count(2);
  Gyreboxd alone(program_.path(), "cuda");
  ASSERT_NO_FATAL_FAILURE(alone.StartAndWait());
  EXPECT_THAT(alone.Log(), HasSubstr("host threads standing in for a device"));
  ASSERT_TRUE(client::Client(alone.address()).CreateStudy(spec).ok());
  alone.WaitForEnd("studies/1");

  Gyreboxd losing(program_.path(), "cuda");
  setenv("GYREBOX_TEST_LAUNCHES", "12", /*overwrite=*/1);  // fewer than the 32 samples need
  ASSERT_NO_FATAL_FAILURE(losing.StartAndWait({"--checkpoint-seconds", "0.05"}));
  ASSERT_TRUE(client::Client(losing.address()).CreateStudy(spec).ok());
  EXPECT_EQ(losing.Wait(), kDeviceLost) << losing.Log();
  EXPECT_THAT(losing.Log(), AllOf(HasSubstr("the device is lost"), HasSubstr("an illegal address was met")));
  losing.Start({"--checkpoint-seconds", "0.05"});  // it resumes its work, and loses the device again
  EXPECT_EQ(losing.Wait(), kDeviceLost) << losing.Log();

  unsetenv("GYREBOX_TEST_LAUNCHES");
  ASSERT_NO_FATAL_FAILURE(losing.StartAndWait());
  losing.WaitForEnd("studies/1");
  EXPECT_TRUE(Results(losing, "studies/1") == Results(alone, "studies/1"));
}

// With a force of this reach, beads have more partners than the initial list capacity.
TEST_F(DeviceTroubleTest, RunsWhoseListsOutgrowTheMemoryContinueInSmallerBatchesWithTheSameBits) {
  v1::StudySpec spec = Study(1600, 0.1);
  spec.mutable_forces()->mutable_exponential()->set_cutoff(2.5);
  spec.mutable_dynamics()->set_step_order(2);
  spec.mutable_trials()->set_count(8);
  Gyreboxd roomy(program_.path(), "cuda");
  ASSERT_NO_FATAL_FAILURE(roomy.StartAndWait());
  ASSERT_TRUE(client::Client(roomy.address()).CreateStudy(spec).ok());
  roomy.WaitForEnd("studies/1");
  EXPECT_THAT(roomy.Log(), testing::Not(HasSubstr("memory ran short")));

  setenv("GYREBOX_TEST_MEMORY_KIB", "3400", /*overwrite=*/1);
  Gyreboxd tight(program_.path(), "cuda");
  ASSERT_NO_FATAL_FAILURE(tight.StartAndWait());
  spec.mutable_forces()->mutable_exponential()->set_cutoff(1.3);
  ASSERT_TRUE(client::Client(tight.address()).CreateStudy(spec).ok());
  tight.WaitForEnd("studies/1");
  EXPECT_THAT(tight.Log(), testing::Not(HasSubstr("memory ran short")));  // the beds themselves fit
  spec.mutable_forces()->mutable_exponential()->set_cutoff(2.5);
  ASSERT_TRUE(client::Client(tight.address()).CreateStudy(spec).ok());
  tight.WaitForEnd("studies/2");
  EXPECT_THAT(tight.Log(), HasSubstr("studies/2: memory ran short with 8 runs on the device"));
  EXPECT_TRUE(Results(tight, "studies/2") == Results(roomy, "studies/1"));
}

TEST_F(DeviceTroubleTest, ABedThatDoesNotFitFailsAloneAndReportsItsNeed) {
  setenv("GYREBOX_TEST_MEMORY_KIB", "6144", /*overwrite=*/1);
  Gyreboxd server(program_.path(), "cuda");
  ASSERT_NO_FATAL_FAILURE(server.StartAndWait());
  client::Client client(server.address());
  ASSERT_TRUE(client.CreateStudy(Study(50'000, 1)).ok());
  ASSERT_TRUE(client.CreateStudy(Study(100, 1)).ok());
  server.WaitForEnd("studies/1");
  server.WaitForEnd("studies/2");
  const auto run = client.GetRun("studies/1/runs/1");
  ASSERT_TRUE(run.ok()) << run.status();
  EXPECT_EQ(run->state(), v1::Run::STATE_FAILED);
  EXPECT_EQ(run->fault().reason(), "OUT_OF_MEMORY");
  EXPECT_THAT(run->fault().message(), testing::ContainsRegex("needs [0-9]{7,8} bytes of device memory"));
  EXPECT_EQ(client.GetRun("studies/2/runs/1")->state(), v1::Run::STATE_FINISHED);
}

}  // namespace
}  // namespace gyrebox
