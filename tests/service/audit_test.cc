// The audit of the time step, as seen by a client of a server.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>

#include "example_studies.h"
#include "lib/client.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::WaitFor;
using testing::ElementsAre;
using testing::HasSubstr;

constexpr char kName[] = "studies/1";

/// 14 amplitudes with 3 realizations each: 42 runs, and 3 more that audit the last point.
v1::StudySpec Map() {
  std::vector<double> amplitudes(14);
  std::iota(amplitudes.begin(), amplitudes.end(), 1);
  return AmplitudeStudy(amplitudes, 3);
}

class AuditTest : public testing::Test {
 protected:
  void Create(const v1::StudySpec& spec) {
    const auto study = client_.CreateStudy(spec);
    ASSERT_TRUE(study.ok()) << study.status();
  }

  void WaitForEnd(const std::string& name = kName) {
    ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(name)->has_end_time(); }));
  }

  /// Amplitudes of the audit runs.
  std::vector<double> Audited() {
    std::vector<double> amplitudes;
    EXPECT_TRUE(client_
                    .ForRuns(kName,
                             [&](const v1::Run& run) {
                               if (run.audit()) amplitudes.push_back(run.axis_values(0));
                             })
                    .ok());
    return amplitudes;
  }

  test::TestServer server_;
  client::Client client_{server_.address()};
};

TEST_F(AuditTest, ACheckGivesItsCost) {
  const auto checked = client_.CheckStudy(Map());
  ASSERT_TRUE(checked.ok()) << checked.status();
  EXPECT_EQ(checked->estimate().run_count(), 45);
  EXPECT_EQ(checked->estimate().audit_run_count(), 3);
  EXPECT_EQ(checked->estimate().audited_point_count(), 1);
  EXPECT_DOUBLE_EQ(checked->estimate().audit_cost(), 2.0 / 14);
  EXPECT_EQ(checked->estimate().audit_note(), "");
  const auto small = client_.CheckStudy(AmplitudeStudy({4, 5, 6, 7, 8}, 2));
  EXPECT_EQ(small->estimate().audit_run_count(), 0);
  EXPECT_THAT(small->estimate().audit_note(), HasSubstr("audit.max_cost allows 15 %"));
}

TEST_F(AuditTest, ItsRunsTakeHalfTheStepFromTheSameInitialState) {
  Create(Map());
  WaitForEnd();
  EXPECT_EQ(client_.GetStudy(kName)->run_counts().finished_count(), 45);
  const auto first = client_.GetRun("studies/1/runs/40"), again = client_.GetRun("studies/1/runs/43");
  EXPECT_FALSE(first->audit());
  EXPECT_TRUE(again->audit());
  EXPECT_THAT(again->axis_values(), ElementsAre(14));
  EXPECT_EQ(again->trial(), 1);
  EXPECT_EQ(again->seeds().positions(), first->seeds().positions());
  EXPECT_EQ(again->total_steps(), 2 * first->total_steps());
  EXPECT_DOUBLE_EQ(again->time(), first->time());
  std::lock_guard lock(server_.plan().mutex);
  EXPECT_EQ(server_.plan().initialized.back().time_step, server_.plan().initialized.front().time_step / 2);
}

// A fake run measures its amplitude, plus 100 times its position seed, plus the completed fraction of the run, which is
// below 1. The result is the same with half the step.
TEST_F(AuditTest, ItsRunsCountInNoAverage) {
  Create(Map());
  WaitForEnd();
  const auto table = client_.TabulateStudy(kName, "");
  ASSERT_TRUE(table.ok()) << table.status();
  ASSERT_EQ(table->rows_size(), 14);
  EXPECT_EQ(table->rows(13).trial_count(), 3);
  EXPECT_EQ(table->rows(13).audit().verdict(), v1::StepAudit::VERDICT_HOLDS);
  EXPECT_EQ(table->rows(13).audit().run_count(), 3);
  EXPECT_EQ(table->rows(0).audit().verdict(), v1::StepAudit::VERDICT_NOT_AUDITED);
  const auto answers = client_.AnalyseStudy(kName, {});
  ASSERT_TRUE(answers.ok()) << answers.status();
  EXPECT_EQ(answers->answers(0).plots(0).rows_size(), 14);
}

TEST_F(AuditTest, AnExcludedRunOfItDoesNotCount) {
  Create(Map());
  WaitForEnd();
  for (const int number : {43, 44, 45}) {
    v1::ExcludeRunRequest request;
    request.set_name("studies/1/runs/" + std::to_string(number));
    request.set_reason("by mistake");
    ASSERT_TRUE(client_.ExcludeRun(request).ok());
  }
  const auto table = client_.TabulateStudy(kName, "");
  const v1::TableRow& row = table->rows(13);
  EXPECT_EQ(row.trial_count(), 3);
  EXPECT_EQ(row.excluded_count(), 0);
  EXPECT_EQ(row.audit().verdict(), v1::StepAudit::VERDICT_NOT_AUDITED);
  EXPECT_THAT(row.audit().note(), HasSubstr("3 of 3 runs with half the step"));
}

TEST_F(AuditTest, ItGrowsWithItsStudy) {
  Create(Map());
  WaitForEnd();
  v1::GrowStudyRequest request;
  request.set_name(kName);
  request.set_add_trials(1);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  WaitForEnd();
  EXPECT_THAT(Audited(), ElementsAre(14, 14, 14, 14));
  request.set_add_trials(0);
  v1::Axis& axis = *request.add_axes();
  axis.set_field("drive.sine.amplitude");
  for (int i = 0; i < 13; ++i) axis.add_values(20 + i);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  WaitForEnd();
  EXPECT_THAT(Audited(), ElementsAre(14, 14, 14, 14, 32, 32, 32, 32));
  EXPECT_EQ(client_.GetStudy(kName)->run_counts().finished_count(), 27 * 4 + 8);
}

TEST_F(AuditTest, AReplayOfItTakesItsStepAndIsNoAudit) {
  Create(Map());
  WaitForEnd();
  const auto replay = client_.ReplayRun("studies/1/runs/43");
  ASSERT_TRUE(replay.ok()) << replay.status();
  EXPECT_EQ(replay->spec().dynamics().time_step(), client_.GetStudy(kName)->spec().dynamics().time_step() / 2);
  EXPECT_EQ(replay->run_counts().total_count(), 1);
  WaitForEnd(replay->name());
  const auto first = client_.GetRun("studies/1/runs/43"), again = client_.GetRun(replay->name() + "/runs/1");
  EXPECT_FALSE(again->audit());
  EXPECT_EQ(again->total_steps(), first->total_steps());
  v1::GrowStudyRequest request;
  request.set_name(replay->name());
  request.set_add_trials(1);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  EXPECT_EQ(client_.GetStudy(replay->name())->run_counts().total_count(), 2);
}

TEST_F(AuditTest, ItCanBeSwitchedOff) {
  v1::StudySpec spec = Map();
  spec.mutable_audit()->set_max_cost(0);
  Create(spec);
  WaitForEnd();
  EXPECT_THAT(Audited(), testing::IsEmpty());
  const auto answers = client_.AnalyseStudy(kName, {});
  const auto audit = std::find_if(answers->answers().begin(), answers->answers().end(),
                                  [](const auto& answer) { return answer.topic() == v1::Answer::TOPIC_AUDIT; });
  ASSERT_NE(audit, answers->answers().end());
  EXPECT_THAT(audit->why_not(), HasSubstr("audit.max_cost"));
}

// A change of all runs of a study takes effect in the audit runs at the same time, and so at twice the step index.
TEST_F(AuditTest, SteeringReachesItsRunsAtTheirOwnSteps) {
  server_.plan().step_nanoseconds = 2'500'000;  // no run ends before it is adjusted
  Create(Map());
  v1::AdjustRunsRequest request;
  request.set_name(kName);
  request.set_time(1.75);
  request.add_changes()->set_field("drive.sine.frequency");
  request.mutable_changes(0)->set_value(2);
  const auto adjusted = client_.AdjustRuns(request);
  server_.plan().step_nanoseconds = 0;
  ASSERT_TRUE(adjusted.ok()) << adjusted.status();
  ASSERT_EQ(adjusted->run_count(), 45);
  EXPECT_EQ(client_.ListAdjustments("studies/1/runs/40")->adjustments(0).step(), 3500);
  EXPECT_EQ(client_.ListAdjustments("studies/1/runs/43")->adjustments(0).step(), 7000);
  WaitForEnd();
}

}  // namespace
}  // namespace gyrebox
