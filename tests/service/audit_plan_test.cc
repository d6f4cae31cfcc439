// Choice of the runs of a study that are repeated with half the time step.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <numeric>

#include "example_studies.h"
#include "study/audit.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/grow.h"
#include "study/run_spec.h"
#include "study/steering.h"
#include "study/validation/validate.h"

namespace gyrebox::study {
namespace {

using test::AmplitudeStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

/// Amplitudes 1, 2, ... up to this count.
std::vector<double> Ramp(int count) {
  std::vector<double> values(count);
  std::iota(values.begin(), values.end(), 1);
  return values;
}

/// Amplitude and realization index of the audit runs, in order.
std::vector<std::pair<double, int>> AuditsOf(const std::vector<PlannedRun>& runs) {
  std::vector<std::pair<double, int>> audits;
  for (const PlannedRun& run : runs) {
    if (run.audit) audits.emplace_back(run.axis_values.at(0), run.trial);
  }
  return audits;
}

std::vector<AuditedRun> AuditedIn(const std::vector<PlannedRun>& runs) {
  std::vector<AuditedRun> audited;
  for (const PlannedRun& run : runs) {
    if (run.audit) audited.push_back({run.axis_values, run.trial});
  }
  return audited;
}

// Auditing one point of n with all its realizations costs 2/n of the study: at most 15 % needs 14 points or more.
TEST(AuditPlanTest, AMapOfFourteenPointsIsAuditedAtItsStrongestDrive) {
  const auto runs = Expand(AmplitudeStudy(Ramp(14), 3));
  EXPECT_THAT(AuditsOf(runs), ElementsAre(std::pair(14, 1), std::pair(14, 2), std::pair(14, 3)));
  ASSERT_EQ(runs.size(), 14u * 3 + 3);
  EXPECT_EQ(runs[42].seeds.positions(), runs[39].seeds.positions());
  EXPECT_EQ(runs[44].seeds.positions(), runs[41].seeds.positions());
}

// Two realizations of three cost 2/3 of that: 9 points or more.
TEST(AuditPlanTest, FewerPointsAreAuditedWithFewerRealizations) {
  EXPECT_THAT(AuditsOf(Expand(AmplitudeStudy(Ramp(13), 3))), ElementsAre(std::pair(13, 1), std::pair(13, 2)));
  EXPECT_THAT(AuditsOf(Expand(AmplitudeStudy(Ramp(9), 3))), ElementsAre(std::pair(9, 1), std::pair(9, 2)));
  EXPECT_THAT(AuditsOf(Expand(AmplitudeStudy(Ramp(8), 3))), IsEmpty());
}

// Each point has the step by the rule: the points of the strongest drive take most of the work.
TEST(AuditPlanTest, APointOverTheCostLimitIsSkipped) {
  v1::StudySpec spec = AmplitudeStudy({20, 25, 30, 35, 40, 300}, 2);
  spec.mutable_dynamics()->clear_time_step();
  const AuditPlan plan = PlanAudit(spec);
  ASSERT_FALSE(plan.points.empty());
  EXPECT_EQ(plan.points.front(), 4u);
  EXPECT_EQ(plan.why_none, "");
}

TEST(AuditPlanTest, FourRealizationsOfAPointAreRepeated) {
  EXPECT_THAT(AuditsOf(Expand(AmplitudeStudy(Ramp(7), 8))),
              ElementsAre(std::pair(7, 1), std::pair(7, 2), std::pair(7, 3), std::pair(7, 4)));
}

TEST(AuditPlanTest, PointsAreTakenInTheOrderOfTheirRisk) {
  v1::StudySpec spec = AmplitudeStudy({5, 20, 10, 15}, 2);
  spec.mutable_audit()->set_max_cost(1.5);
  const AuditPlan plan = PlanAudit(spec);
  EXPECT_THAT(plan.points, ElementsAre(1, 3, 2));
  EXPECT_EQ(plan.trials, 2);
  spec.mutable_audit()->set_max_points(2);
  EXPECT_THAT(PlanAudit(spec).points, ElementsAre(1, 3));
}

TEST(AuditPlanTest, TwiceTheWorkAuditsEveryDrivenPoint) {
  v1::StudySpec spec = AmplitudeStudy({0, 5, 10}, 3);
  spec.mutable_audit()->set_max_cost(2);
  EXPECT_THAT(PlanAudit(spec).points, ElementsAre(2, 1));  // no drive, no risk
}

TEST(AuditPlanTest, RiskIsThatOfTheSquareOfThePeakTimesTheStep) {
  const v1::StudySpec spec = AmplitudeStudy({10}, 2);
  const double risk = StepRisk(AtPoint(spec, {10}));
  EXPECT_DOUBLE_EQ(StepRisk(AtPoint(spec, {20})), 4 * risk);
  EXPECT_DOUBLE_EQ(StepRisk(AsAudited(AtPoint(spec, {10}))), risk / 2);
  v1::StudySpec looser = AtPoint(spec, {10});
  looser.mutable_bed()->set_packing_fraction(looser.bed().packing_fraction() / 2);
  EXPECT_GT(StepRisk(looser), risk);
  v1::StudySpec spread = AtPoint(spec, {10});
  spread.mutable_drive()->mutable_disorder()->set_amplitude_spread(0.1);
  EXPECT_NEAR(StepRisk(spread), 1.3 * 1.3 * risk, 1e-9 * risk);
}

// One sweep per step omits a thermal drift, which half the step does not reveal.
TEST(AuditPlanTest, LaggedRunsThatAreTooHotAreComparedWithConvergedOnes) {
  v1::StudySpec spec = AmplitudeStudy({0, 5}, 2);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("thermal.temperature");
  axis.add_values(0.001);
  axis.add_values(0.5);
  spec.mutable_dynamics()->mutable_overdamped()->mutable_lagged();
  spec.mutable_audit()->set_max_cost(2);
  spec.mutable_audit()->set_max_points(1);
  EXPECT_THAT(PlanAudit(spec).points, ElementsAre(2));  // a hot point takes 20 times the work of a quarter of the study
  v1::Axis& temperature = *spec.mutable_axes(1);
  for (int i = 1; i <= 10; ++i) temperature.add_values(0.0001 * i + 0.00001);
  const AuditPlan plan = PlanAudit(spec);
  EXPECT_THAT(plan.points, ElementsAre(1));  // undriven
  EXPECT_DOUBLE_EQ(plan.cost, 20.0 / 24);
  const v1::StudySpec hot = AtPoint(spec, {0, 0.5}), cold = AtPoint(spec, {5, 0.001});
  EXPECT_TRUE(AsAudited(hot).dynamics().overdamped().has_converged());
  EXPECT_GT(AsAudited(hot).dynamics().overdamped().converged().tolerance(), 0);
  EXPECT_DOUBLE_EQ(StepOf(AsAudited(hot)), StepOf(hot) / 2);
  EXPECT_TRUE(AsAudited(cold).dynamics().overdamped().has_lagged());
}

TEST(AuditPlanTest, AStageCountsAtItsPeak) {
  v1::StudySpec spec = AmplitudeStudy({10}, 2);
  const double risk = StepRisk(AtPoint(spec, {10}));
  v1::Stage& stage = *spec.mutable_schedule()->add_stages();
  stage.set_duration(1);
  stage.mutable_ramp()->set_amplitude(30);
  EXPECT_DOUBLE_EQ(StepRisk(AtPoint(spec, {10})), 9 * risk);
}

TEST(AuditPlanTest, OnlyMapsAreAuditedByDefault) {
  const auto cost = [](const std::string& field, int values = 5) {
    v1::StudySpec spec = test::BareStudy();
    v1::Axis& axis = *spec.add_axes();
    axis.set_field(field);
    for (int i = 1; i <= values; ++i) axis.add_values(i);
    return DefaultAuditCost(spec);
  };
  EXPECT_EQ(cost("drive.sine.amplitude", 4), 0);
  EXPECT_EQ(cost("drive.sine.amplitude"), 0.15);
  EXPECT_EQ(cost("drive.square.frequency"), 0.15);
  EXPECT_EQ(cost("drive.sum.terms[1].frequency"), 0.15);
  EXPECT_EQ(cost("drive.disorder.amplitude_spread"), 0);
  EXPECT_EQ(cost("thermal.temperature"), 0);
  EXPECT_EQ(cost("schedule.stages[1].step.amplitude"), 0);
  v1::StudySpec spec = AmplitudeStudy(Ramp(20), 3);
  EXPECT_EQ(spec.audit().max_cost(), 0.15);
  spec.mutable_audit()->set_max_cost(0);
  study::FillDefaults(&spec);
  EXPECT_THAT(AuditsOf(Expand(spec)), IsEmpty());
}

TEST(AuditPlanTest, SaysWhyNothingIsAudited) {
  EXPECT_THAT(PlanAudit(AmplitudeStudy(Ramp(20), 1)).why_none, HasSubstr("give trials.count = 2"));
  EXPECT_EQ(PlanAudit(AmplitudeStudy(Ramp(10), 2)).why_none,
            "one point takes 20 % of the work of the study; audit.max_cost allows 15 %");
  v1::StudySpec still = AmplitudeStudy({0}, 2);
  still.mutable_audit()->set_max_cost(2);
  EXPECT_EQ(PlanAudit(still).why_none, "no point is driven");
  v1::StudySpec alike = AmplitudeStudy(Ramp(20), 2);
  alike.mutable_trials()->set_vary_positions(false);
  EXPECT_THAT(PlanAudit(alike).why_none, HasSubstr("differ in nothing"));
  EXPECT_EQ(PlanAudit(AmplitudeStudy(Ramp(20), 2)).why_none, "");
}

TEST(AuditPlanTest, BadValuesNameTheirField) {
  v1::StudySpec spec = AmplitudeStudy({4, 8}, 2);
  spec.mutable_audit()->set_max_cost(3);
  spec.mutable_audit()->set_max_points(0);
  std::vector<std::string> faults;
  for (const auto& fault : Validate(spec)) faults.push_back(fault.field() + ": " + fault.description());
  EXPECT_THAT(faults,
              ElementsAre(HasSubstr("audit.max_cost: 3 is too large"), HasSubstr("audit.max_points: 0 is too small")));
  spec = AmplitudeStudy({4, 8}, 2);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("audit.max_cost");
  axis.add_values(0.1);
  ASSERT_EQ(Validate(spec).size(), 1u);
  EXPECT_THAT(Validate(spec)[0].description(), HasSubstr("is the same in all runs of a study"));
}

TEST(AuditPlanTest, AStudyAndItsAuditAreAtMostAHundredThousandRuns) {
  v1::StudySpec spec = AmplitudeStudy(Ramp(1000), 99);
  spec.mutable_audit()->set_max_cost(2);
  EXPECT_EQ(PlanAudit(spec).points.size(), 250u);  // 4 realizations each: the rest of 100 000
}

TEST(AuditPlanTest, RunsTakeHalfTheStepAndTwiceTheSteps) {
  const v1::StudySpec spec = AmplitudeStudy(Ramp(14), 2);
  const auto runs = Expand(spec);
  const PlannedRun& audit = runs.back();
  ASSERT_TRUE(audit.audit);
  const auto whole = ToRunSpec(AtPoint(spec, audit.axis_values), audit.seeds);
  const auto half = ToRunSpec(AtRun(spec, audit), audit.seeds);
  EXPECT_EQ(half.time_step, whole.time_step / 2);
  EXPECT_EQ(half.n_steps, 2 * whole.n_steps);
  EXPECT_EQ(half.measure.interval_steps, 2 * whole.measure.interval_steps);
  EXPECT_EQ(half.seeds.positions, whole.seeds.positions);
  v1::Run run;
  run.add_axis_values(audit.axis_values[0]);
  run.set_audit(true);
  EXPECT_EQ(SpecOf(spec, run, {}).dynamics().time_step(), spec.dynamics().time_step() / 2);
}

v1::GrowStudyRequest Adding(int trials, const std::vector<double>& amplitudes = {}) {
  v1::GrowStudyRequest request;
  request.set_add_trials(trials);
  if (amplitudes.empty()) return request;
  v1::Axis& axis = *request.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_values()->Assign(amplitudes.begin(), amplitudes.end());
  return request;
}

TEST(AuditPlanTest, AuditedPointsGrowByRealizations) {
  const auto spec = AmplitudeStudy(Ramp(14), 2);
  const auto grown = Grown(spec, Adding(1));
  EXPECT_THAT(AuditsOf(AddedRuns(spec, grown, AuditedIn(Expand(spec)))), ElementsAre(std::pair(14, 3)));
}

TEST(AuditPlanTest, AuditedPointsStayWithinTheCost) {
  const auto spec = AmplitudeStudy(Ramp(9), 3);
  const auto audited = AuditedIn(Expand(spec));
  EXPECT_THAT(AuditsOf(AddedRuns(spec, Grown(spec, Adding(0, {10})), audited)), IsEmpty());
  EXPECT_THAT(AuditsOf(AddedRuns(spec, Grown(spec, Adding(0, {4.5, 5.5, 6.5, 7.5, 8.5})), audited)),
              ElementsAre(std::pair(9, 3)));
}

// The audited point stays, so a second one fits only from 27 points on.
TEST(AuditPlanTest, EarlierAuditsCountTowardsTheCost) {
  const auto spec = AmplitudeStudy(Ramp(14), 2);
  const auto audited = AuditedIn(Expand(spec));
  auto grown = Grown(spec, Adding(0, {100, 101}));
  EXPECT_THAT(AuditsOf(AddedRuns(spec, grown, audited)), IsEmpty());
  std::vector<double> more(13);
  std::iota(more.begin(), more.end(), 100);
  grown = Grown(spec, Adding(0, more));
  EXPECT_THAT(AuditsOf(AddedRuns(spec, grown, audited)), ElementsAre(std::pair(112, 1), std::pair(112, 2)));
}

TEST(AuditPlanTest, AuditedRunsKeepTheirValueOnANewAxis) {
  const auto spec = AmplitudeStudy(Ramp(14), 2);
  v1::GrowStudyRequest request;
  v1::Axis& axis = *request.add_axes();
  axis.set_field("drive.sine.frequency");
  axis.add_values(2);
  const auto added = AddedRuns(spec, Grown(spec, request), AuditedIn(Expand(spec)));
  ASSERT_EQ(added.size(), 14u * 2 + 2);  // the points at frequency 2, one of them audited: now 2 of 28 points
  EXPECT_THAT(added.back().axis_values, ElementsAre(14, 2));
  EXPECT_TRUE(added.back().audit);
}

}  // namespace
}  // namespace gyrebox::study
