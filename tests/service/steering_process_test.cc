// Adjusted runs of the real engine: the journal determines them completely.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <random>
#include <thread>

#include "gyreboxd.h"

namespace gyrebox {
namespace {

using test::Gyreboxd;
using test::Outcome;
using test::WaitFor;
using testing::HasSubstr;

constexpr char kRun[] = "studies/1/runs/1";

class SteeringProcessTest : public testing::Test {
 protected:
  void Start(double duration, const std::vector<std::string>& options = {}) {
    server_.Start(options);
    ASSERT_NO_FATAL_FAILURE(server_.WaitUntilUp());
    v1::StudySpec spec;
    spec.mutable_bed()->set_bead_count(150);
    spec.mutable_drive()->mutable_am()->set_amplitude(8);
    spec.mutable_drive()->mutable_am()->set_frequency(1);
    spec.mutable_drive()->mutable_am()->set_depth(0.3);
    spec.mutable_drive()->mutable_am()->set_modulation_frequency(0.1);
    spec.mutable_drive()->mutable_disorder()->set_jitter(0.1);
    spec.mutable_thermal()->set_temperature(0.002);
    spec.mutable_retry()->set_max_halvings(2);
    spec.mutable_schedule()->set_duration(duration);
    ASSERT_TRUE(Connect().CreateStudy(spec).ok());
    ASSERT_TRUE(WaitFor([&] { return Connect().GetRun(kRun)->step() > 0; }));
  }

  void Restart(const std::vector<std::string>& options) {
    server_.Start(options);
    ASSERT_NO_FATAL_FAILURE(server_.WaitUntilUp());
  }

  client::Client Connect() const { return client::Client(server_.address()); }

  Outcome Gyrebox(const std::vector<std::string>& arguments) const {
    std::vector<std::string> command = {GYREBOX, "--server", server_.address()};
    command.insert(command.end(), arguments.begin(), arguments.end());
    return test::Run(command);
  }

  Gyreboxd server_;
};

/// A random valid adjustment.
v1::AdjustRunsRequest AnyChange(std::mt19937_64& random) {
  const auto between = [&](double low, double high) { return std::uniform_real_distribution(low, high)(random); };
  v1::AdjustRunsRequest request;
  request.set_name(kRun);
  const std::tuple<const char*, double, double> kFields[] = {{"drive.am.amplitude", 2, 25},
                                                             {"drive.am.frequency", 0.5, 3},
                                                             {"drive.am.depth", 0, 1},
                                                             {"thermal.temperature", 0, 0.01},
                                                             {"friction.tangential", 1, 8},
                                                             {"drive.disorder.jitter", 0, 0.3},
                                                             {"drive.disorder.frequency_spread", 0, 0.2}};
  const auto& [field, low, high] = kFields[std::uniform_int_distribution<size_t>(0, std::size(kFields) - 1)(random)];
  request.add_changes()->set_field(field);
  request.mutable_changes(0)->set_value(between(low, high));
  if (between(0, 1) < 0.5) request.set_ramp_time(between(0.1, 5));
  return request;
}

TEST_F(SteeringProcessTest, ARunWithTwentyAdjustmentsReplaysToTheSameBits) {
  Start(1e5);
  std::mt19937_64 random(3);
  for (int i = 0; i < 20; ++i) {
    const auto adjusted = Connect().AdjustRuns(AnyChange(random));
    ASSERT_TRUE(adjusted.ok()) << adjusted.status();
    std::this_thread::sleep_for(std::chrono::milliseconds(60));
  }
  ASSERT_EQ(Gyrebox({"pause", "1/1"}).code, 0);
  ASSERT_EQ(Gyrebox({"resume", "1/1"}).code, 0);
  // The run resumed from its last checkpoint; later adjustments take effect after the step it had reached before.
  const int64_t reached = Connect().ListAdjustments(kRun)->adjustments(20).reached_step();
  ASSERT_TRUE(WaitFor([&] {
    const auto run = Connect().GetRun(kRun);
    return run->state() == v1::Run::STATE_RUNNING && run->step() > reached;
  }));
  const Outcome finished = Gyrebox({"finish", "1/1"});
  ASSERT_EQ(finished.code, 0) << finished.error;
  EXPECT_THAT(finished.error, HasSubstr("studies/1/runs/1: finished at step"));
  EXPECT_THAT(Gyrebox({"show", "1"}).out, HasSubstr("1  23 entries in its journal; ended early, at step "));
  const Outcome extended = Gyrebox({"extend", "1/1", "3.3"});
  ASSERT_EQ(extended.code, 0) << extended.error;
  server_.WaitForEnd("studies/1");
  const Outcome journal = Gyrebox({"journal", "1/1"});
  EXPECT_EQ(std::count(journal.out.begin(), journal.out.end(), '\n'), 1 + 24) << journal.out;
  const Outcome replay = Gyrebox({"replay", "1/1"});
  EXPECT_EQ(replay.code, 0) << replay.out << replay.error;
  EXPECT_THAT(replay.out, HasSubstr("samples have the same bits"));
  // The final states are equal too.
  const int64_t step = Connect().GetRun(kRun)->step();
  const auto state = [&](int study) {
    return test::ReadAll(server_.Data() + "/states/" + std::to_string(study) + "-1-" + std::to_string(step) + ".end");
  };
  EXPECT_GT(state(1).size(), 1000u);
  EXPECT_TRUE(state(1) == state(2));
}

// Acknowledged adjustments are in the journal, and a run that resumes after an abrupt end follows them.
TEST_F(SteeringProcessTest, AnAdjustmentSurvivesAnAbruptEnd) {
  const std::vector<std::string> often = {"--checkpoint-seconds", "0.2"};
  Start(1e5, often);
  std::mt19937_64 random(4);
  std::vector<v1::Adjustment> answered;
  for (int i = 0; i < 4; ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(100 * i));
    for (int k = 0; k < 2; ++k) {
      const auto adjusted = Connect().AdjustRuns(AnyChange(random));
      ASSERT_TRUE(adjusted.ok()) << adjusted.status();
      answered.push_back(adjusted->adjustments(0));
    }
    server_.Kill();
    ASSERT_NO_FATAL_FAILURE(Restart(often));
  }
  // While the run has not yet returned to the step of the last adjustment, a new one still takes effect after it.
  const auto last = Connect().AdjustRuns(AnyChange(random));
  ASSERT_TRUE(last.ok()) << last.status();
  EXPECT_GE(last->adjustments(0).step(), answered.back().step());
  answered.push_back(last->adjustments(0));
  ASSERT_TRUE(WaitFor([&] { return Connect().GetRun(kRun)->step() > answered.back().step() + 500; }));
  ASSERT_EQ(Gyrebox({"finish", "1/1"}).code, 0);
  server_.WaitForEnd("studies/1");
  const auto journal = Connect().ListAdjustments(kRun);
  ASSERT_EQ(journal->adjustments_size(), static_cast<int>(answered.size()) + 1);
  for (size_t i = 0; i < answered.size(); ++i) {
    EXPECT_EQ(journal->adjustments(static_cast<int>(i)).SerializeAsString(), answered[i].SerializeAsString());
  }
  const Outcome replay = Gyrebox({"replay", "1/1"});
  EXPECT_EQ(replay.code, 0) << replay.out << replay.error;
}

TEST_F(SteeringProcessTest, TheCommandsReportWhatTheyDid) {
  Start(1e5);
  const Outcome adjusted = Gyrebox({"adjust", "1/1", "drive.am.amplitude=20", "--ramp", "2"});
  EXPECT_EQ(adjusted.code, 0) << adjusted.error;
  EXPECT_THAT(adjusted.out, HasSubstr("studies/1/runs/1/adjustments/1: amplitude 8 -> 20 over 4000 steps"));
  const Outcome wrong = Gyrebox({"adjust", "1/1", "drive.am.amplitud=20"});
  EXPECT_EQ(wrong.code, 2);
  EXPECT_THAT(wrong.error, HasSubstr("did you mean drive.am.amplitude?"));
  EXPECT_EQ(Gyrebox({"adjust", "1/1", "20"}).code, 2);
  const Outcome stale = Gyrebox({"adjust", "1/1", "drive.am.amplitude=3", "--etag", "0"});
  EXPECT_EQ(stale.code, 3);
  EXPECT_THAT(stale.error, HasSubstr("local adjusted it at step"));
  EXPECT_EQ(Gyrebox({"replay", "1/1"}).code, 3);
  const Outcome saved = Gyrebox({"save", "1/1"});
  EXPECT_THAT(saved.out, HasSubstr("studies/1/runs/1/states/"));
  const test::TemporaryDirectory directory;
  const std::string file =
      directory.Write("branch.toml", "[drive.sine]\namplitude = 4\nfrequency = 1\n[schedule]\nduration = 2\n");
  const Outcome branch = Gyrebox({"branch", "1/1", file});
  EXPECT_EQ(branch.code, 0) << branch.error;
  EXPECT_EQ(branch.out, "studies/2\n");
  EXPECT_EQ(Gyrebox({"pause", "1"}).code, 0);
  server_.WaitForEnd("studies/2");
  EXPECT_THAT(Gyrebox({"show", "1"}).out, HasSubstr("1 paused"));
  EXPECT_EQ(Gyrebox({"prioritize", "1", "3"}).code, 0);
  EXPECT_EQ(Gyrebox({"prioritize", "1", "300"}).code, 2);
  EXPECT_EQ(Gyrebox({"resume", "1"}).code, 0);
  EXPECT_THAT(Gyrebox({"queue"}).out, testing::ContainsRegex("studies/1 +local +3"));
  EXPECT_THAT(Gyrebox({"machine", "--drain"}).out, HasSubstr("drains"));
  EXPECT_EQ(Gyrebox({"machine", "--work"}).code, 0);
}

}  // namespace
}  // namespace gyrebox
