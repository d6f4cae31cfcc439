// Adjusting runs, by calls to a server with a fake device.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <limits>

#include "example_studies.h"
#include "lib/client.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::BareStudy;
using test::WaitFor;
using testing::AllOf;
using testing::HasSubstr;

constexpr char kRun[] = "studies/1/runs/1";

class SteeringTest : public testing::Test {
 protected:
  /// Submits BareStudy() with this many realizations. Its 4000 steps take about a second.
  void Submit(int trials = 1) {
    server_.plan().step_nanoseconds = 250'000;
    v1::StudySpec spec = BareStudy();
    spec.mutable_trials()->set_count(trials);
    const auto study = client_.CreateStudy(spec);
    ASSERT_TRUE(study.ok()) << study.status();
  }

  void WaitForStep(int64_t step, const std::string& run = kRun) {
    ASSERT_TRUE(WaitFor([&] { return client_.GetRun(run)->step() >= step; }));
  }

  v1::Run WaitForEnd(const std::string& run = kRun) {
    server_.plan().step_nanoseconds = 0;
    EXPECT_TRUE(WaitFor([&] { return client_.GetRun(run)->has_end_time(); }));
    return *client_.GetRun(run);
  }

  absl::StatusOr<v1::AdjustRunsResponse> Adjust(const std::string& field, double value, const std::string& name = kRun,
                                                const std::string& etag = "") {
    v1::AdjustRunsRequest request;
    request.set_name(name);
    request.set_etag(etag);
    request.add_changes()->set_field(field);
    request.mutable_changes(0)->set_value(value);
    return client_.AdjustRuns(request);
  }

  std::vector<std::pair<int64_t, double>> Sizes(const std::string& run = kRun) {
    std::vector<std::pair<int64_t, double>> sizes;
    const auto series = client_.ListSamples(run);
    for (const auto& sample : series->samples()) sizes.emplace_back(sample.step(), sample.values(0));
    return sizes;
  }

  test::TestServer server_;
  client::Client client_{server_.address()};
};

TEST_F(SteeringTest, AChangeHoldsFromTheStepInTheResponse) {
  Submit();
  WaitForStep(500);
  const auto adjusted = Adjust("drive.sine.amplitude", 20);
  ASSERT_TRUE(adjusted.ok()) << adjusted.status();
  ASSERT_EQ(adjusted->adjustments_size(), 1);
  const v1::Adjustment& entry = adjusted->adjustments(0);
  EXPECT_EQ(entry.name(), "studies/1/runs/1/adjustments/1");
  EXPECT_EQ(entry.user(), "local");
  EXPECT_EQ(entry.kind(), v1::Adjustment::KIND_CHANGE);
  EXPECT_GE(entry.step(), 500);
  EXPECT_LT(entry.step(), 4000);
  EXPECT_DOUBLE_EQ(entry.time(), static_cast<double>(entry.step()) * 5e-4);
  EXPECT_EQ(entry.change().amplitude(), 20);
  EXPECT_EQ(WaitForEnd().state(), v1::Run::STATE_FINISHED);
  const auto sizes = Sizes();
  ASSERT_EQ(sizes.size(), 17u);
  for (const auto& [step, size] : sizes) {
    EXPECT_EQ(size, (step < entry.step() ? 10 : 20) + 100 + static_cast<double>(step) / 4000) << step;
  }
  const auto journal = client_.ListAdjustments(kRun);
  ASSERT_EQ(journal->adjustments_size(), 1);
  EXPECT_EQ(journal->adjustments(0).SerializeAsString(), entry.SerializeAsString());
}

TEST_F(SteeringTest, AChangeMayComeLaterAndAsARamp) {
  Submit();
  v1::AdjustRunsRequest request;
  request.set_name(kRun);
  request.set_time(1.5);
  request.set_ramp_time(0.25);
  request.add_changes()->set_field("thermal.temperature");
  request.mutable_changes(0)->set_value(0.01);
  const auto adjusted = client_.AdjustRuns(request);
  ASSERT_TRUE(adjusted.ok()) << adjusted.status();
  EXPECT_EQ(adjusted->adjustments(0).step(), 3000);
  EXPECT_EQ(adjusted->adjustments(0).ramp_steps(), 500);
  EXPECT_LT(adjusted->adjustments(0).reached_step(), 3000);
}

TEST_F(SteeringTest, OneCallChangesAllRunsOfAStudy) {
  Submit(3);
  WaitForStep(200);
  const auto adjusted = Adjust("drive.sine.amplitude", 30, "studies/1");
  ASSERT_TRUE(adjusted.ok()) << adjusted.status();
  ASSERT_EQ(adjusted->adjustments_size(), 3);
  for (const int run : {1, 2, 3}) {
    const std::string name = "studies/1/runs/" + std::to_string(run);
    WaitForEnd(name);
    EXPECT_EQ(Sizes(name).back().second, 30 + 100 * run + 1);
  }
}

TEST_F(SteeringTest, AWrongFieldIsNamedWithTheRightOne) {
  Submit();
  const auto fault = [&](const std::string& field, double value) {
    const auto adjusted = Adjust(field, value);
    EXPECT_EQ(adjusted.status().code(), absl::StatusCode::kInvalidArgument) << field;
    const auto violations = client::ViolationsOf(adjusted.status());
    return violations.size() == 1 ? violations[0].field() + ": " + violations[0].description() : "not one fault";
  };
  EXPECT_THAT(fault("drive.sine.amplitud", 1), HasSubstr("did you mean drive.sine.amplitude?"));
  EXPECT_THAT(fault("drive.square.amplitude", 1), HasSubstr("drive.square.amplitude: cannot change"));
  EXPECT_THAT(fault("bed.bead_count", 1), HasSubstr("cannot change"));
  EXPECT_THAT(fault("drive.sine.amplitude", -1), HasSubstr("drive.sine.amplitude: -1 is too small; at least 0"));
  EXPECT_THAT(fault("drive.sine.amplitude", std::nan("")), HasSubstr("not a finite number"));
  EXPECT_THAT(fault("drive.sine.frequency", 1000),
              AllOf(HasSubstr("drive.sine.frequency: "), HasSubstr("2 steps a period"), HasSubstr("at most 100")));
  EXPECT_THAT(fault("", 1), HasSubstr("cannot change"));
  v1::AdjustRunsRequest request;
  request.set_name(kRun);
  EXPECT_THAT(std::string(client_.AdjustRuns(request).status().message()), HasSubstr("changes: is missing"));
  request.add_changes()->set_field("thermal.temperature");
  request.set_time(2);
  EXPECT_THAT(std::string(client_.AdjustRuns(request).status().message()),
              HasSubstr("time: 2 tau is not within the run; at least 0 and below 2 tau"));
  request.clear_time();
  request.set_ramp_time(-1);
  EXPECT_THAT(std::string(client_.AdjustRuns(request).status().message()), HasSubstr("ramp_time"));
  EXPECT_EQ(client_.ListAdjustments(kRun)->adjustments_size(), 0);
}

TEST_F(SteeringTest, TheWaveActiveAtTheTimeIsChanged) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_schedule()->clear_duration();
  spec.mutable_schedule()->add_stages()->set_duration(1);
  v1::Stage& stage = *spec.mutable_schedule()->add_stages();
  stage.set_duration(1);
  stage.mutable_step()->mutable_square()->set_amplitude(5);
  stage.mutable_step()->mutable_square()->set_frequency(1);
  server_.plan().step_nanoseconds = 250'000;
  ASSERT_TRUE(client_.CreateStudy(spec).ok());
  v1::AdjustRunsRequest request;
  request.set_name(kRun);
  request.set_time(1.2);
  request.add_changes()->set_field("drive.sine.amplitude");
  request.mutable_changes(0)->set_value(3);
  EXPECT_THAT(std::string(client_.AdjustRuns(request).status().message()), HasSubstr("did you mean drive.square.ampl"));
  request.mutable_changes(0)->set_field("drive.square.amplitude");
  EXPECT_TRUE(client_.AdjustRuns(request).ok());
}

TEST_F(SteeringTest, AStaleAdjustmentIsRefusedWithTheLaterEntries) {
  Submit();
  WaitForStep(100);
  const std::string seen = client_.GetRun(kRun)->etag();
  const auto first = Adjust("drive.sine.amplitude", 20, kRun, seen);
  ASSERT_TRUE(first.ok()) << first.status();
  WaitForStep(first->adjustments(0).step() + 100);
  const auto second = Adjust("drive.sine.amplitude", 5, kRun, seen);
  EXPECT_EQ(second.status().code(), absl::StatusCode::kAborted);
  EXPECT_THAT(std::string(second.status().message()),
              AllOf(HasSubstr("local adjusted it at step " + std::to_string(first->adjustments(0).step())),
                    HasSubstr("amplitude 20")));
  EXPECT_EQ(client_.PauseRun(kRun, seen).status().code(), absl::StatusCode::kAborted);
  // Steps and samples do not change the etag.
  EXPECT_TRUE(Adjust("drive.sine.amplitude", 5, kRun, client_.GetRun(kRun)->etag()).ok());
  EXPECT_EQ(client_.ListAdjustments(kRun)->adjustments_size(), 2);
}

TEST_F(SteeringTest, APausedRunLeavesTheDeviceAndResumesWhereItWas) {
  Submit(2);
  WaitForStep(500);
  const auto paused = client_.PauseRun(kRun);
  ASSERT_TRUE(paused.ok()) << paused.status();
  EXPECT_EQ(paused->state(), v1::Run::STATE_PAUSED);
  EXPECT_GE(paused->step(), 500);
  EXPECT_EQ(client_.PauseRun(kRun).status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_EQ(WaitForEnd("studies/1/runs/2").state(), v1::Run::STATE_FINISHED);
  EXPECT_EQ(client_.GetRun(kRun)->step(), paused->step());
  EXPECT_FALSE(client_.GetStudy("studies/1")->has_end_time());
  EXPECT_EQ(client_.GetStudy("studies/1")->run_counts().paused_count(), 1);
  server_.Stop();
  server_.Start();  // it stays paused over a restart
  client_ = client::Client(server_.address());
  EXPECT_EQ(client_.GetRun(kRun)->state(), v1::Run::STATE_PAUSED);
  ASSERT_TRUE(Adjust("drive.sine.amplitude", 40).ok());
  const auto resumed = client_.ResumeRun(kRun);
  ASSERT_TRUE(resumed.ok()) << resumed.status();
  EXPECT_EQ(WaitForEnd().state(), v1::Run::STATE_FINISHED);
  const auto sizes = Sizes();
  ASSERT_EQ(sizes.size(), 17u);
  EXPECT_EQ(sizes.front().second, 110);
  EXPECT_EQ(sizes.back().second, 141);
  EXPECT_EQ(client_.ListAdjustments(kRun)->adjustments_size(), 3);
}

TEST_F(SteeringTest, AWholeStudyIsPausedAndResumed) {
  Submit(3);
  WaitForStep(100);
  const auto paused = client_.PauseStudy("studies/1");
  ASSERT_TRUE(paused.ok()) << paused.status();
  EXPECT_EQ(paused->run_counts().paused_count(), 3);
  EXPECT_EQ(client_.PauseStudy("studies/1").status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_EQ(client_.ResumeStudy("studies/1")->run_counts().paused_count(), 0);
  EXPECT_EQ(client_.ResumeStudy("studies/1").status().code(), absl::StatusCode::kFailedPrecondition);
  for (const int run : {1, 2, 3}) {
    EXPECT_EQ(WaitForEnd("studies/1/runs/" + std::to_string(run)).sample_count(), 17);
  }
}

TEST_F(SteeringTest, AFinishedRunEndsWhereItIs) {
  Submit();
  WaitForStep(700);
  const auto finished = client_.FinishRun(kRun);
  ASSERT_TRUE(finished.ok()) << finished.status();
  EXPECT_EQ(finished->state(), v1::Run::STATE_FINISHED);
  EXPECT_TRUE(finished->ended_early());
  EXPECT_GE(finished->step(), 700);
  EXPECT_LT(finished->step(), 4000);
  EXPECT_EQ(finished->total_steps(), finished->step());
  EXPECT_EQ(Sizes().back().first, finished->step());
  EXPECT_THAT(std::string(client_.FinishRun(kRun).status().message()),
              AllOf(HasSubstr("is FINISHED and cannot be finished"), HasSubstr("it can be extended")));
  EXPECT_TRUE(client_.GetStudy("studies/1")->has_end_time());
}

TEST_F(SteeringTest, ARunIsExtendedWhileItRunsAndAfterItsEnd) {
  Submit();
  ASSERT_TRUE(client_.ExtendRun(kRun, 0.5).ok());
  v1::Run run = WaitForEnd();
  EXPECT_EQ(run.step(), 5000);
  EXPECT_EQ(run.sample_count(), 21);
  const auto extended = client_.ExtendRun(kRun, 0.51);
  ASSERT_TRUE(extended.ok()) << extended.status();
  EXPECT_EQ(extended->total_steps(), 6020);
  EXPECT_FALSE(extended->has_end_time());
  ASSERT_TRUE(WaitFor([&] { return client_.GetRun(kRun)->has_end_time(); }));
  run = *client_.GetRun(kRun);
  EXPECT_EQ(run.step(), 6020);
  EXPECT_EQ(run.state(), v1::Run::STATE_FINISHED);
  const auto sizes = Sizes();
  ASSERT_EQ(sizes.size(), 26u);  // every 250 steps, and at the end
  for (size_t i = 0; i + 1 < sizes.size(); ++i) EXPECT_EQ(sizes[i].first, 250 * static_cast<int64_t>(i));
  EXPECT_EQ(client_.ExtendRun(kRun, 1e-9).status().code(), absl::StatusCode::kInvalidArgument);
  EXPECT_EQ(client_.ExtendRun(kRun, -1).status().code(), absl::StatusCode::kInvalidArgument);
  // The former final state is kept for whatever starts from it.
  const auto kept = client_.ListSavedStates(kRun);
  ASSERT_EQ(kept->states_size(), 1);
  EXPECT_EQ(kept->states(0).name(), "studies/1/runs/1/states/5000");
  v1::StudySpec from = BareStudy();
  from.clear_bed();
  from.mutable_start()->mutable_saved()->set_run(kept->states(0).name());
  EXPECT_TRUE(client_.CreateStudy(from).ok());
}

TEST_F(SteeringTest, AStateIsSavedAtAnyTimeAndStartedFrom) {
  Submit();
  WaitForStep(300);
  const auto saved = client_.SaveRun(kRun);
  ASSERT_TRUE(saved.ok()) << saved.status();
  EXPECT_GE(saved->step(), 300);
  EXPECT_EQ(saved->name(), "studies/1/runs/1/states/" + std::to_string(saved->step()));
  EXPECT_GT(saved->byte_count(), 100);
  ASSERT_TRUE(client_.PauseRun(kRun).ok());
  const auto of_paused = client_.SaveRun(kRun);
  ASSERT_TRUE(of_paused.ok()) << of_paused.status();
  EXPECT_EQ(of_paused->step(), client_.GetRun(kRun)->step());
  const int64_t stored = client_.GetStudy("studies/1")->stored_byte_count();
  EXPECT_EQ(client_.SaveRun(kRun)->step(), of_paused->step());  // the same state, without more bytes
  EXPECT_EQ(client_.GetStudy("studies/1")->stored_byte_count(), stored);
  v1::StudySpec from = BareStudy();
  from.clear_bed();
  from.mutable_start()->mutable_saved()->set_run(saved->name());
  const auto branch = client_.CreateStudy(from);
  ASSERT_TRUE(branch.ok()) << branch.status();
  ASSERT_TRUE(client_.ResumeRun(kRun).ok());
  const v1::Run run = WaitForEnd();  // checkpoints are deleted, states saved from them stay
  EXPECT_EQ(client_.SaveRun(kRun)->step(), run.step());
  EXPECT_EQ(WaitForEnd("studies/2/runs/1").state(), v1::Run::STATE_FINISHED);
  from.mutable_start()->mutable_saved()->set_run(of_paused->name());
  EXPECT_TRUE(client_.CreateStudy(from).ok());
  from.mutable_start()->mutable_saved()->set_run("studies/1/runs/1/states/77");
  EXPECT_EQ(client_.CreateStudy(from).status().code(), absl::StatusCode::kInvalidArgument);
}

TEST_F(SteeringTest, AnEndedRunSaysWhatCanBeDone) {
  server_.plan().unstable_above = 5;
  Submit();
  EXPECT_EQ(WaitForEnd().state(), v1::Run::STATE_UNSTABLE);
  for (const auto& status :
       {Adjust("drive.sine.amplitude", 1).status(), client_.PauseRun(kRun).status(), client_.ResumeRun(kRun).status(),
        client_.FinishRun(kRun).status(), client_.ExtendRun(kRun, 1).status()}) {
    EXPECT_EQ(status.code(), absl::StatusCode::kFailedPrecondition);
    EXPECT_THAT(std::string(status.message()), AllOf(HasSubstr("is UNSTABLE"), HasSubstr("it can be replayed")));
  }
  EXPECT_EQ(client_.SaveRun(kRun).status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_EQ(Adjust("drive.sine.amplitude", 1, "studies/1").status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_EQ(client_.PauseRun("studies/1/runs/9").status().code(), absl::StatusCode::kNotFound);
  EXPECT_EQ(client_.PauseRun("studies/1").status().code(), absl::StatusCode::kNotFound);
  EXPECT_EQ(Adjust("drive.sine.amplitude", 1, "studies/9").status().code(), absl::StatusCode::kNotFound);
}

TEST_F(SteeringTest, ARunOfACancelledStudyDoesNotResume) {
  Submit(2);
  WaitForStep(300);
  ASSERT_TRUE(client_.FinishRun(kRun).ok());
  ASSERT_TRUE(client_.CancelStudy("studies/1").ok());
  EXPECT_EQ(client_.ExtendRun(kRun, 1).status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_EQ(client_.GetRun(kRun)->state(), v1::Run::STATE_FINISHED);
}

TEST_F(SteeringTest, AReplayRepeatsTheJournal) {
  Submit(2);
  const std::string run = "studies/1/runs/2";
  WaitForStep(300);
  ASSERT_TRUE(Adjust("drive.sine.amplitude", 20, run).ok());
  ASSERT_TRUE(client_.PauseRun(run).ok());
  ASSERT_TRUE(client_.ResumeRun(run).ok());
  ASSERT_TRUE(Adjust("drive.sine.amplitude", 25, run).ok());
  WaitForEnd(run);
  const auto replay = client_.ReplayRun(run);
  ASSERT_TRUE(replay.ok()) << replay.status();
  EXPECT_EQ(replay->spec().schedule().steering().adjustments_size(), 2);
  WaitForEnd("studies/2/runs/1");
  EXPECT_EQ(Sizes("studies/2/runs/1"), Sizes(run));
  // Only the server sets the recorded adjustments.
  v1::StudySpec spec = replay->spec();
  const auto checked = client_.CheckStudy(spec);
  ASSERT_EQ(checked->field_violations_size(), 1);
  EXPECT_EQ(checked->field_violations(0).field(), "schedule.steering");
  spec.mutable_schedule()->clear_steering();
  EXPECT_EQ(client_.CheckStudy(spec)->field_violations_size(), 0);
}

TEST_F(SteeringTest, AReplayGrowsAndIsStartedFrom) {
  Submit(1);
  WaitForStep(300);
  ASSERT_TRUE(Adjust("drive.sine.amplitude", 20).ok());
  WaitForEnd(kRun);
  ASSERT_TRUE(client_.ReplayRun(kRun).ok());
  WaitForEnd("studies/2/runs/1");
  v1::GrowStudyRequest request;
  request.set_name("studies/2");
  request.set_add_trials(1);
  const auto grown = client_.GrowStudy(request);
  ASSERT_TRUE(grown.ok()) << grown.status();
  EXPECT_EQ(grown->spec().schedule().steering().adjustments_size(), 1);
  WaitForEnd("studies/2/runs/2");
  v1::StudySpec branch = BareStudy();
  branch.clear_bed();
  branch.mutable_start()->mutable_saved()->set_run("studies/2/runs/1");
  const auto branched = client_.CreateStudy(branch);
  EXPECT_TRUE(branched.ok()) << branched.status();
}

TEST_F(SteeringTest, ADrainedDeviceIsEmptyUntilItIsReleased) {
  Submit(2);
  WaitForStep(200);
  ASSERT_TRUE(client_.DrainMachine(true)->draining());
  ASSERT_TRUE(WaitFor([&] { return client_.GetMachine()->running_count() == 0; }));
  const int64_t step = client_.GetRun(kRun)->step();
  EXPECT_GE(step, 200);
  EXPECT_EQ(client_.GetRun(kRun)->state(), v1::Run::STATE_QUEUED);
  ASSERT_TRUE(client_.CreateStudy(BareStudy()).ok());  // still accepted
  EXPECT_EQ(client_.GetMachine()->queue_size(), 2);
  EXPECT_EQ(client_.GetRun(kRun)->step(), step);
  EXPECT_FALSE(client_.DrainMachine(false)->draining());
  EXPECT_EQ(WaitForEnd().sample_count(), 17);
  EXPECT_EQ(WaitForEnd("studies/2/runs/1").sample_count(), 17);
}

TEST_F(SteeringTest, TheMachineShowsTheOrderOfTheQueue) {
  Submit(2);
  server_.plan().step_nanoseconds = 2'500'000;  // no run ends while the test observes
  WaitForStep(100);
  ASSERT_TRUE(client_.CreateStudy(BareStudy()).ok());
  ASSERT_TRUE(client_.CreateStudy(BareStudy()).ok());
  EXPECT_EQ(client_.PrioritizeRuns("studies/3", 5)->run_count(), 1);
  EXPECT_EQ(client_.GetRun("studies/3/runs/1")->priority(), 5);
  EXPECT_EQ(client_.PrioritizeRuns("studies/9", 5).status().code(), absl::StatusCode::kNotFound);
  for (const int priority : {500, std::numeric_limits<int>::min()}) {
    EXPECT_EQ(client_.PrioritizeRuns("studies/1", priority).status().code(), absl::StatusCode::kInvalidArgument);
  }
  const auto machine = client_.GetMachine();
  ASSERT_EQ(machine->queue_size(), 3);
  EXPECT_EQ(machine->queue(0).study(), "studies/3");
  EXPECT_EQ(machine->queue(0).priority(), 5);
  ASSERT_EQ(machine->shares_size(), 1);
  EXPECT_EQ(machine->shares(0).user(), "local");
  EXPECT_EQ(machine->shares(0).share(), 1);
  EXPECT_GT(machine->shares(0).used_seconds(), 0);
  EXPECT_GT(machine->devices(0).used_memory_bytes(), 0);
  EXPECT_GT(machine->devices(0).load(), 0);
  v1::WatchMachineResponse message;
  grpc::ClientContext context;
  const auto stream = v1::MachineService::NewStub(server_.Connect())->WatchMachine(&context, {});
  for (int64_t sequence = 0; sequence < 2; ++sequence) {
    ASSERT_TRUE(stream->Read(&message));
    EXPECT_EQ(message.sequence(), sequence);
    EXPECT_EQ(message.machine().queue_size(), 3);
  }
  server_.plan().step_nanoseconds = 0;
  server_.Stop();
  while (stream->Read(&message)) {
  }
  EXPECT_EQ(stream->Finish().error_code(), grpc::StatusCode::UNAVAILABLE);
}

}  // namespace
}  // namespace gyrebox
