// The default solver and time step of a study, and what a check reports about them.
#include "study/time_step.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "example_studies.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/point_setter.h"
#include "study/run_spec.h"
#include "study/schedule.h"
#include "study/steered_course.h"
#include "study/validation/validate.h"

namespace gyrebox {
namespace {

using kernels::DynamicsSpec;
using test::BareStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

/// A sine drive of 1 cycle/tau.
v1::StudySpec Filled(double amplitude, double packing = 0.5) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_drive()->mutable_sine()->set_amplitude(amplitude);
  spec.mutable_bed()->set_packing_fraction(packing);
  study::FillDefaults(&spec);
  return spec;
}

double StepOf(const v1::StudySpec& spec) { return study::AtPoint(spec, {}).dynamics().time_step(); }

v1::CheckStudyResponse Told(const v1::StudySpec& spec) {
  EXPECT_THAT(study::Validate(spec), IsEmpty());
  v1::CheckStudyResponse response;
  study::TellTimeSteps(spec, {}, &response);
  return response;
}

TEST(TimeStepTest, OfAWeakDriveIsTheLongest) {
  EXPECT_EQ(StepOf(Filled(20, 0.7)), 5e-4);
  EXPECT_EQ(StepOf(Filled(30, 0.7)), 5e-4);
  EXPECT_EQ(StepOf(Filled(20)), 5e-4);
}

TEST(TimeStepTest, FollowsFromTheDriveAndLeavesSamplesAWholeNumberOfStepsApart) {
  const v1::StudySpec spec = Filled(135);
  const v1::StudySpec at = study::AtPoint(spec, {});
  const double rule = study::StepByRule(at, study::PeaksOf(at)).step, step = at.dynamics().time_step();
  EXPECT_LE(step, rule);
  EXPECT_GT(step, 0.99 * rule);
  const kernels::RunSpec run = study::ToRunSpec(at, at.seeds());
  EXPECT_NEAR(static_cast<double>(run.measure.interval_steps) * step, 0.125, 1e-12);
  EXPECT_EQ(run.n_steps, std::llround(2 / step));
}

TEST(TimeStepTest, AGivenStepIsKept) {
  v1::StudySpec spec = Filled(300);
  spec.mutable_dynamics()->set_time_step(4e-4);
  EXPECT_EQ(StepOf(spec), 4e-4);
}

TEST(TimeStepTest, IsThatOfEachPoint) {
  v1::StudySpec spec = Filled(1);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_values()->Add(20);
  axis.mutable_values()->Add(200);
  axis.mutable_values()->Add(30);
  study::PointSetter setter(spec);
  EXPECT_FALSE(setter.gives_step());
  // In sequence on one copy, and each on its own.
  for (const double amplitude : {20.0, 200.0, 30.0}) {
    EXPECT_EQ(setter.At({amplitude}).SerializeAsString(), study::AtPoint(spec, {amplitude}).SerializeAsString());
  }
  EXPECT_EQ(study::AtPoint(spec, {30}).dynamics().time_step(), 5e-4);
  EXPECT_LT(study::AtPoint(spec, {200}).dynamics().time_step(), 1e-4);
  EXPECT_FALSE(spec.dynamics().has_time_step());
}

TEST(TimeStepTest, CountsStagesRampsAndSpreadsAtTheirPeaks) {
  const double calm = StepOf(Filled(100)), strong = StepOf(Filled(200));
  ASSERT_LT(strong, calm);
  v1::StudySpec staged = Filled(100);
  staged.mutable_schedule()->clear_duration();
  staged.mutable_schedule()->add_stages()->set_duration(1);
  staged.mutable_schedule()->add_stages()->set_duration(1);
  EXPECT_EQ(StepOf(staged), calm);
  staged.mutable_schedule()->mutable_stages(1)->mutable_ramp()->set_amplitude(200);
  EXPECT_EQ(StepOf(staged), strong);
  v1::StudySpec spread = Filled(100);
  spread.mutable_drive()->mutable_disorder()->set_amplitude_spread(1.0 / 3);
  EXPECT_EQ(StepOf(spread), strong);
  v1::StudySpec modulated = Filled(100);
  modulated.mutable_drive()->mutable_am()->set_amplitude(100);
  modulated.mutable_drive()->mutable_am()->set_depth(1);
  study::FillDefaults(&modulated);
  EXPECT_NEAR(StepOf(modulated), strong, 0.01 * strong);
}

TEST(TimeStepTest, HandlesInvalidStudies) {
  for (const double amplitude : {1e300, -1e300, std::nan(""), HUGE_VAL}) {
    const double step = StepOf(Filled(amplitude));
    EXPECT_TRUE(step > 0 && step <= 5e-4) << amplitude;
  }
}

TEST(StepOrderTest, IsTheOneThatTakesLessWork) {
  const auto order = [](const v1::StudySpec& of) { return study::AtPoint(of, {}).dynamics().step_order(); };
  v1::StudySpec weak = Filled(5), strong = Filled(200);
  EXPECT_FALSE(weak.dynamics().has_step_order());
  EXPECT_EQ(order(weak), 1);
  EXPECT_EQ(StepOf(weak), 5e-4);
  EXPECT_EQ(order(strong), 2);
  const double by_rule = StepOf(strong);
  // A given order has its own step by the rule.
  strong.mutable_dynamics()->set_step_order(1);
  EXPECT_EQ(order(strong), 1);
  EXPECT_LT(StepOf(strong) * kernels::kSecondOrderCost, by_rule);
  EXPECT_EQ(study::ToPhysics(study::AtPoint(strong, {})).dynamics.step, DynamicsSpec::Step::kFirstOrder);
}

TEST(StepOrderTest, IsTheFirstUnderAGivenStepThatIsShortEnough) {
  v1::StudySpec spec = Filled(200);
  spec.mutable_dynamics()->set_step_order(1);
  const double first = StepOf(spec);
  spec.mutable_dynamics()->clear_step_order();
  for (const auto& [step, order] : {std::pair{first, 1}, {first * 0.5, 1}, {first * 1.1, 2}}) {
    spec.mutable_dynamics()->set_time_step(step);
    EXPECT_EQ(study::AtPoint(spec, {}).dynamics().step_order(), order) << step;
  }
}

TEST(StepOrderTest, IsTheSecondOfASolverThatConverges) {
  v1::StudySpec spec = Filled(5);
  spec.mutable_dynamics()->mutable_overdamped()->mutable_converged();
  EXPECT_EQ(study::AtPoint(spec, {}).dynamics().step_order(), 2);
}

TEST(SolverTest, FollowsFromTheHighestTemperatureOfARun) {
  const auto is_lagged = [](const v1::StudySpec& of) {
    return study::AtPoint(of, {}).dynamics().overdamped().has_lagged();
  };
  v1::StudySpec spec = Filled(20);
  EXPECT_TRUE(is_lagged(spec));
  spec.mutable_thermal()->set_temperature(0.5);
  EXPECT_FALSE(is_lagged(spec));
  const v1::StudySpec at = study::AtPoint(spec, {});
  EXPECT_EQ(at.dynamics().overdamped().converged().tolerance(), 1e-3);
  EXPECT_EQ(at.dynamics().overdamped().converged().max_iterations(), 500);
  v1::StudySpec heated = Filled(20);
  heated.mutable_schedule()->clear_duration();
  heated.mutable_schedule()->add_stages()->set_duration(1);
  heated.mutable_schedule()->mutable_stages(0)->mutable_ramp()->set_temperature(0.5);
  EXPECT_FALSE(is_lagged(heated));
  spec.mutable_dynamics()->mutable_overdamped()->mutable_lagged();
  EXPECT_TRUE(is_lagged(spec));
  v1::StudySpec rough = Filled(20);
  rough.mutable_friction()->set_tangential(20);
  EXPECT_FALSE(is_lagged(rough));
}

TEST(CheckTest, ReportsTheStepsOfThePointsAndWhatSetsThem) {
  v1::StudySpec spec = Filled(1);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_values()->Add(10);
  axis.mutable_values()->Add(135);
  const auto told = Told(spec);
  EXPECT_FALSE(told.time_steps().given());
  EXPECT_EQ(told.time_steps().longest(), 5e-4);
  EXPECT_EQ(told.time_steps().shortest(), study::AtPoint(spec, {135}).dynamics().time_step());
  EXPECT_THAT(told.time_steps().orders(), ElementsAre(1, 2));
  EXPECT_THAT(told.time_steps().solvers(), ElementsAre("lagged"));
  EXPECT_THAT(told.time_steps().limits(), ElementsAre(kernels::InWords(kernels::StepLimit::kLargest),
                                                      kernels::InWords(kernels::StepLimit::kCircling)));
  EXPECT_THAT(told.warnings(), IsEmpty());
}

TEST(CheckTest, WarnsOfAStepOverTheRules) {
  v1::StudySpec spec = Filled(135);
  spec.mutable_dynamics()->set_time_step(5e-4);
  const auto told = Told(spec);
  EXPECT_TRUE(told.time_steps().given());
  ASSERT_EQ(told.warnings_size(), 1);
  EXPECT_THAT(told.warnings(0), HasSubstr("dynamics.time_step"));
  EXPECT_THAT(told.warnings(0), HasSubstr(kernels::InWords(kernels::StepLimit::kCircling)));
  spec.mutable_dynamics()->set_time_step(5e-5);
  EXPECT_THAT(Told(spec).warnings(), IsEmpty());
}

TEST(CheckTest, WarnsOfOneSweepAStepInAHotBed) {
  v1::StudySpec spec = Filled(20);
  spec.mutable_thermal()->set_temperature(0.5);
  EXPECT_THAT(Told(spec).warnings(), IsEmpty());
  EXPECT_THAT(Told(spec).time_steps().solvers(), ElementsAre("converged"));
  spec.mutable_dynamics()->mutable_overdamped()->mutable_lagged();
  const auto told = Told(spec);
  ASSERT_EQ(told.warnings_size(), 1);
  EXPECT_THAT(told.warnings(0), HasSubstr("thermal drift"));
}

std::string WarningOf(const v1::StudySpec& spec, const std::string& field, double value) {
  study::SteeredCourse course(std::make_shared<study::SteerPoint>(study::AtPoint(spec, {})));
  google::protobuf::RepeatedPtrField<v1::FieldChange> changes;
  changes.Add()->set_field(field);
  changes[0].set_value(value);
  const auto asked = course.Ask(100, 0, changes);
  EXPECT_THAT(asked.faults, IsEmpty());
  return asked.warning;
}

TEST(SteeringTest, WarnsWhereTheStepOfTheRunIsTooLongForTheNewDrive) {
  const v1::StudySpec spec = Filled(30);
  EXPECT_EQ(WarningOf(spec, "drive.sine.amplitude", 31), "");
  EXPECT_THAT(WarningOf(spec, "drive.sine.amplitude", 200), HasSubstr("keeps its time step of 5e-4 tau"));
  EXPECT_THAT(WarningOf(spec, "thermal.temperature", 0.5), HasSubstr("thermal drift"));
  // A weaker drive, or one within the range of later stages, gives no warning.
  v1::StudySpec staged = Filled(30);
  staged.mutable_schedule()->clear_duration();
  staged.mutable_schedule()->add_stages()->set_duration(1);
  staged.mutable_schedule()->add_stages()->set_duration(1);
  staged.mutable_schedule()->mutable_stages(1)->mutable_step()->set_amplitude(200);
  EXPECT_EQ(WarningOf(staged, "drive.sine.amplitude", 150), "");
  EXPECT_EQ(WarningOf(spec, "drive.sine.amplitude", 1), "");
}

}  // namespace
}  // namespace gyrebox
