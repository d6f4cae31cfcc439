// Interpretation of a study: defaults, faults, expansion, and the numbers passed to the kernels.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <limits>

#include "example_studies.h"
#include "fake_device.h"
#include "study/defaults.h"
#include "study/estimate.h"
#include "study/expand.h"
#include "study/rules.h"
#include "study/run_spec.h"
#include "study/validation/validate.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::BareStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

std::vector<v1::FieldViolation> FaultsOf(v1::StudySpec spec) {
  study::FillDefaults(&spec);
  return study::Validate(spec);
}

TEST(DefaultsTest, FillsMissingFieldsAndKeepsGivenOnes) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_friction()->set_tangential(0);
  study::FillDefaults(&spec);
  EXPECT_EQ(spec.bed().packing_fraction(), 0.7);
  EXPECT_EQ(spec.friction().tangential(), 0);
  EXPECT_EQ(spec.friction().normal(), 5);
  EXPECT_TRUE(spec.start().has_random());
  EXPECT_EQ(spec.start().random().closest_pair(), 0.9);
  EXPECT_TRUE(spec.forces().has_exponential());
  EXPECT_TRUE(spec.drive().has_rate());
  EXPECT_TRUE(spec.trials().vary_positions());
  EXPECT_FALSE(spec.trials().vary_noise());
  EXPECT_EQ(spec.trials().count(), 1);
  EXPECT_FALSE(spec.measure().has_interval());
}

TEST(DefaultsTest, ChoosesSteadyWhereNoWaveIsGiven) {
  v1::StudySpec spec;
  study::FillDefaults(&spec);
  EXPECT_TRUE(spec.drive().has_steady());
  EXPECT_EQ(spec.drive().steady().amplitude(), 0);
}

TEST(ValidateTest, AcceptsAValidStudy) {
  EXPECT_THAT(FaultsOf(BareStudy()), IsEmpty());
  EXPECT_THAT(FaultsOf(AmplitudeStudy({4, 8}, 3)), IsEmpty());
}

struct BadStudy {
  const char* name;
  std::function<void(v1::StudySpec&)> spoil;
  const char* field;
  const char* description;
};

v1::Axis& AddAxis(v1::StudySpec& spec, const char* field, const std::vector<double>& values = {}) {
  v1::Axis& axis = *spec.add_axes();
  axis.set_field(field);
  axis.mutable_values()->Assign(values.begin(), values.end());
  return axis;
}

void SetRange(v1::AxisRange* range, double first, double last, int count) {
  range->set_first(first);
  range->set_last(last);
  range->set_count(count);
}

void PrintTo(const BadStudy& bad, std::ostream* out) { *out << bad.field; }

class BadStudyTest : public testing::TestWithParam<BadStudy> {};

TEST_P(BadStudyTest, NamesTheFieldAndTheValidAlternative) {
  v1::StudySpec spec = BareStudy();
  GetParam().spoil(spec);
  const auto faults = FaultsOf(spec);
  ASSERT_FALSE(faults.empty());
  bool found = false;
  for (const auto& fault : faults) {
    found = found || (fault.field() == GetParam().field &&
                      fault.description().find(GetParam().description) != std::string::npos);
  }
  EXPECT_TRUE(found) << "first of " << faults.size() << ": " << faults[0].field() << ": " << faults[0].description();
}

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInf = std::numeric_limits<double>::infinity();
using S = v1::StudySpec;

INSTANTIATE_TEST_SUITE_P(
    All, BadStudyTest,
    testing::Values(
        BadStudy{"PackedTooClose", [](S& s) { s.mutable_bed()->set_packing_fraction(0.95); }, "bed.packing_fraction",
                 "0.95 is too large; at most 0.9069 (close packing of equal discs)"},
        BadStudy{"NoPacking", [](S& s) { s.mutable_bed()->set_packing_fraction(0); }, "bed.packing_fraction",
                 "0 is too small; over 0"},
        BadStudy{"NotANumber", [](S& s) { s.mutable_thermal()->set_temperature(kNan); }, "thermal.temperature",
                 "nan is not a finite number; give a number, at least 0 and at most 100 epsilon"},
        BadStudy{"Infinite", [](S& s) { s.mutable_schedule()->set_duration(kInf); }, "schedule.duration",
                 "inf is not a finite number"},
        BadStudy{"InfiniteWithoutRule",
                 [](S& s) { SetRange(AddAxis(s, "thermal.temperature").mutable_linear(), 0, -kInf, 3); },
                 "axes[0].linear.last", "-inf is not a finite number"},
        BadStudy{"NoBeads", [](S& s) { s.mutable_bed()->clear_bead_count(); }, "bed.bead_count",
                 "is missing; give a whole number, at least 1 and at most 1e8"},
        BadStudy{"NoDuration", [](S& s) { s.clear_schedule(); }, "schedule.duration", "is missing"},
        BadStudy{"NoFrequency", [](S& s) { s.mutable_drive()->mutable_sine()->clear_frequency(); },
                 "drive.sine.frequency", "is missing; give a number, over 0 and at most 10000 cycles/tau"},
        BadStudy{"ZeroFrequency", [](S& s) { s.mutable_drive()->mutable_sine()->set_frequency(0); },
                 "drive.sine.frequency", "0 is too small; over 0 cycles/tau"},
        BadStudy{"FewStepsAPeriod",
                 [](S& s) {
                   s.mutable_dynamics()->set_time_step(5e-4);
                   s.mutable_drive()->mutable_sine()->set_frequency(200);
                 },
                 "drive.sine.frequency", "leaves 10 steps a period, which is too few; at least 20"},
        BadStudy{"DurationBelowAStep", [](S& s) { s.mutable_schedule()->set_duration(1e-4); }, "schedule.duration",
                 "is shorter than one step; at least the time step of 5e-4 tau"},
        BadStudy{"TooManySteps",
                 [](S& s) {
                   s.mutable_schedule()->set_duration(1e9);
                   s.mutable_dynamics()->set_time_step(1e-4);
                 },
                 "schedule.duration", "is 1e13 steps, which is too many; at most 1e12 steps"},
        BadStudy{"IntervalBelowAStep", [](S& s) { s.mutable_measure()->set_interval(1e-4); }, "measure.interval",
                 "is shorter than one step"},
        BadStudy{"NoSpinnerLeft", [](S& s) { s.mutable_bed()->set_spinner_fraction(0.004); }, "bed.spinner_fraction",
                 "0.004 of 100 beads rounds to no spinner at all; give 0, or at least 0.01"},
        BadStudy{"SidesTooShort", [](S& s) { s.mutable_bed()->set_bead_count(4); }, "bed.bead_count",
                 "is too short; at least"},
        BadStudy{"LongTitle", [](S& s) { s.set_title(std::string(121, 'x')); }, "title",
                 "121 characters are too many; at most 120"},
        BadStudy{"TitleThatMovesTheCursor", [](S& s) { s.set_title("a\x1b[2Jb"); }, "title",
                 "holds a control character"},
        BadStudy{"AxisWithoutField", [](S& s) { AddAxis(s, "", {1}); }, "axes[0].field", "is missing"},
        BadStudy{"AxisOfNoField", [](S& s) { AddAxis(s, "drive.sine.amplitud", {1}); }, "axes[0].field",
                 "names no field; did you mean drive.sine.amplitude?"},
        BadStudy{"AxisOfLastPartOnly", [](S& s) { AddAxis(s, "temperature", {1}); }, "axes[0].field",
                 "did you mean thermal.temperature?"},
        BadStudy{"AxisOfATable", [](S& s) { AddAxis(s, "drive.sine", {1}); }, "axes[0].field", "is not a number field"},
        BadStudy{"AxisOfAText", [](S& s) { AddAxis(s, "title", {1}); }, "axes[0].field", "is not a number field"},
        BadStudy{"AxisOfATruth", [](S& s) { AddAxis(s, "trials.vary_noise", {1}); }, "axes[0].field",
                 "is not a number field"},
        BadStudy{"AxisOfTrials",
                 [](S& s) {
                   AddAxis(s, "trials.count", {1, 2});
                 },
                 "axes[0].field", "is the same in all runs of a study"},
        BadStudy{"AxisOfChoiceNotTaken", [](S& s) { AddAxis(s, "drive.steady.amplitude", {1}); }, "axes[0].field",
                 "belongs to a choice not taken; the study has drive.sine"},
        BadStudy{"AxisTwice",
                 [](S& s) {
                   AddAxis(s, "thermal.temperature", {0, 1});
                   AddAxis(s, "thermal.temperature", {2, 3});
                 },
                 "axes[1].field", "is varied by another axis already"},
        BadStudy{"AxisWithoutValues", [](S& s) { AddAxis(s, "thermal.temperature"); }, "axes[0]",
                 "gives no values; give values, linear or logarithmic"},
        BadStudy{"AxisWithValuesAndSpacing",
                 [](S& s) { SetRange(AddAxis(s, "thermal.temperature", {1}).mutable_linear(), 0, 1, 3); }, "axes[0]",
                 "gives both values and a spacing"},
        BadStudy{"AxisValueOutOfRange",
                 [](S& s) {
                   AddAxis(s, "bed.packing_fraction", {0.5, 0.91});
                 },
                 "axes[0].values[1]", "0.91 is too large; at most 0.9069"},
        BadStudy{"AxisValueNan", [](S& s) { AddAxis(s, "thermal.temperature", {kNan}); }, "axes[0].values[0]",
                 "nan is not a finite number"},
        BadStudy{"AxisValueTwice",
                 [](S& s) {
                   AddAxis(s, "thermal.temperature", {1, 2, 1});
                 },
                 "axes[0].values[2]", "1 is there twice"},
        BadStudy{"HalfABead",
                 [](S& s) {
                   AddAxis(s, "bed.bead_count", {100, 100.5});
                 },
                 "axes[0].values[1]", "100.5 is not a whole number"},
        BadStudy{"HalfABeadBySpacing",
                 [](S& s) { SetRange(AddAxis(s, "bed.bead_count").mutable_linear(), 100, 101, 3); }, "axes[0].linear",
                 "its value 100.5 is not a whole number"},
        BadStudy{"RatiosAcrossZero",
                 [](S& s) { SetRange(AddAxis(s, "thermal.temperature").mutable_logarithmic(), 0, 1, 3); },
                 "axes[0].logarithmic", "same side of 0"},
        BadStudy{"SpacingOfOneValue",
                 [](S& s) { SetRange(AddAxis(s, "thermal.temperature").mutable_linear(), 0, 1, 1); },
                 "axes[0].linear.count", "1 is too small; at least 2"},
        BadStudy{"AxisOverAnotherAxis",
                 [](S& s) {
                   AddAxis(s, "axes[1].linear.count", {2, 3});
                   auto& range = *AddAxis(s, "thermal.temperature").mutable_linear();
                   range.set_first(0);
                   range.set_last(1);
                 },
                 "axes[1].linear.count", "is missing"},
        BadStudy{"SpacingWithoutEnds", [](S& s) { AddAxis(s, "thermal.temperature").mutable_linear()->set_count(3); },
                 "axes[0].linear.first", "is missing"},
        BadStudy{"FiveAxes",
                 [](S& s) {
                   for (const char* field : {"thermal.temperature", "bed.packing_fraction", "friction.normal",
                                             "friction.tangential", "drag.rotational"}) {
                     AddAxis(s, field, {0.5});
                   }
                 },
                 "axes", "5 axes are too many; at most 4"},
        BadStudy{"TooManyRuns",
                 [](S& s) {
                   for (const char* field : {"thermal.temperature", "friction.normal", "friction.tangential"}) {
                     SetRange(AddAxis(s, field).mutable_linear(), 1, 2, 1000);
                   }
                 },
                 "axes", "make 1e9 runs, which is too many; at most 100000"},
        BadStudy{"PointWithFewSteps",
                 [](S& s) {
                   s.mutable_dynamics()->set_time_step(5e-4);
                   AddAxis(s, "drive.sine.frequency", {1, 200});
                 },
                 "axes[0]", "drive.sine.frequency: 200 cycles/tau leaves 10 steps a period"}),
    [](const auto& info) { return info.param.name; });

TEST(ValidateTest, ReportsAllFaultsAtOnce) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_bed()->set_packing_fraction(2);
  spec.mutable_friction()->set_exponent(3);
  spec.mutable_dynamics()->set_time_step(5e-4);
  spec.mutable_drive()->mutable_sine()->set_frequency(200);
  spec.mutable_trials()->set_count(0);
  AddAxis(spec, "nonsense", {1});
  EXPECT_EQ(FaultsOf(spec).size(), 5u);
}

TEST(ValidateTest, ReportsABedThatDoesNotFitTheDevice) {
  v1::StudySpec spec = BareStudy();
  study::FillDefaults(&spec);
  const auto plan = std::make_shared<test::FakePlan>();
  plan->memory_bytes = 100;
  const test::FakeDevice device(plan);
  const auto faults = study::Validate(spec, &device);
  ASSERT_EQ(faults.size(), 1u);
  EXPECT_EQ(faults[0].field(), "bed.bead_count");
  EXPECT_THAT(faults[0].description(), HasSubstr("the device has"));
}

// If the device cannot interrupt a step, its length is limited in advance.
TEST(ValidateTest, ASolveIsLimitedWhereTheDeviceCannotInterruptIt) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_bed()->set_bead_count(100'000);
  spec.mutable_dynamics()->mutable_overdamped()->mutable_converged()->set_max_iterations(50'001);
  study::FillDefaults(&spec);
  const auto plan = std::make_shared<test::FakePlan>();
  EXPECT_THAT(study::Validate(spec, std::make_unique<test::FakeDevice>(plan).get()), IsEmpty());
  plan->name = "cuda:0";
  const test::FakeDevice device(plan);
  const auto faults = study::Validate(spec, &device);
  ASSERT_EQ(faults.size(), 1u);
  EXPECT_EQ(faults[0].field(), "dynamics.overdamped.converged.max_iterations");
  EXPECT_THAT(faults[0].description(), HasSubstr("at most 50000 for so many beads"));
  spec.mutable_dynamics()->mutable_overdamped()->mutable_converged()->set_max_iterations(50'000);
  EXPECT_THAT(study::Validate(spec, &device), IsEmpty());
}

TEST(ValidateTest, AnAxisMayGiveARequiredField) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_bed()->clear_bead_count();
  AddAxis(spec, "bed.bead_count", {100, 200});
  EXPECT_THAT(FaultsOf(spec), IsEmpty());
}

TEST(ExpandTest, VariesTheFirstAxisSlowestAndRealizationsFastest) {
  v1::StudySpec spec = AmplitudeStudy({4, 8}, 2);
  AddAxis(spec, "drive.sine.frequency", {0.5, 1, 2});
  const auto runs = study::Expand(spec);
  ASSERT_EQ(runs.size(), 12u);
  EXPECT_THAT(runs[0].axis_values, ElementsAre(4, 0.5));
  EXPECT_THAT(runs[1].axis_values, ElementsAre(4, 0.5));
  EXPECT_THAT(runs[2].axis_values, ElementsAre(4, 1));
  EXPECT_THAT(runs[11].axis_values, ElementsAre(8, 2));
  EXPECT_EQ(runs[0].trial, 1);
  EXPECT_EQ(runs[1].trial, 2);
}

TEST(ExpandTest, ShiftsOnlyTheSeedsThatVary) {
  v1::StudySpec spec = AmplitudeStudy({4}, 3);
  spec.mutable_seeds()->set_positions(7);
  spec.mutable_seeds()->set_noise(9);
  spec.mutable_trials()->set_vary_disorder(true);
  const auto runs = study::Expand(spec);
  EXPECT_EQ(runs[2].seeds.positions(), 9u);
  EXPECT_EQ(runs[2].seeds.noise(), 9u);
  EXPECT_EQ(runs[2].seeds.disorder(), 3u);
  EXPECT_EQ(runs[0].seeds.positions(), 7u);
}

TEST(ExpandTest, SpacesValuesWithBothEndsExact) {
  v1::Axis axis;
  SetRange(axis.mutable_linear(), 0.1, 0.7, 4);
  EXPECT_THAT(study::AxisValues(axis),
              ElementsAre(0.1, testing::DoubleNear(0.3, 1e-15), testing::DoubleNear(0.5, 1e-15), 0.7));
  SetRange(axis.mutable_logarithmic(), 1, 1000, 4);
  EXPECT_THAT(study::AxisValues(axis),
              ElementsAre(1, testing::DoubleNear(10, 1e-12), testing::DoubleNear(100, 1e-11), 1000));
}

kernels::RunSpec RunSpecOf(v1::StudySpec spec) {
  study::FillDefaults(&spec);
  return study::ToRunSpec(study::AtPoint(spec, {}), spec.seeds());
}

TEST(RunSpecTest, CarriesTheStudyOver) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_drive()->mutable_torque();
  spec.mutable_friction()->set_exponent(2);
  spec.mutable_health()->set_largest_move(0.05);
  spec.mutable_seeds()->set_noise(77);
  const kernels::RunSpec run = RunSpecOf(spec);
  EXPECT_EQ(run.n_beads, 100);
  EXPECT_EQ(run.n_spinners, 30);
  EXPECT_NEAR(100 * M_PI / 4 / (run.side_x * run.side_y), 0.7, 1e-12);
  EXPECT_EQ(run.n_steps, 4000);
  EXPECT_EQ(run.drive.quantity, kernels::DriveSpec::Quantity::kTorque);
  EXPECT_EQ(run.drive.wave.shape, kernels::WaveSpec::Shape::kSine);
  EXPECT_EQ(run.drive.wave.amplitude, 10);
  EXPECT_EQ(run.drive.wave.frequency, 1);
  EXPECT_EQ(run.friction.exponent, 2);
  EXPECT_EQ(run.health.largest_move, 0.05);
  EXPECT_EQ(run.seeds.noise, 77u);
  EXPECT_EQ(run.temperature, 0.002);
}

TEST(RunSpecTest, SamplesEightTimesAPeriodUnlessMoreIsRequested) {
  v1::StudySpec spec = BareStudy();
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 250);  // 1/8 tau
  spec.mutable_measure()->set_interval(0.01);
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 20);
  spec.mutable_measure()->set_interval(10);
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 250);
  spec.mutable_drive()->mutable_steady();
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 20000);
  spec.mutable_measure()->clear_interval();
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 500);  // 0.25 tau
}

TEST(EstimateTest, CountsRunsStepsAndTime) {
  const auto estimate = study::EstimateStudy(AmplitudeStudy({4, 8}, 3), /*bead_steps_per_second=*/1e6,
                                             *kernels::OpenDevice("cpu", 1).device);
  EXPECT_EQ(estimate.run_count(), 6);
  EXPECT_EQ(estimate.bead_count(), 100);
  EXPECT_EQ(estimate.step_count(), 6 * 4000);
  EXPECT_EQ(estimate.bead_steps(), 6 * 4000 * 100.0);
  EXPECT_DOUBLE_EQ(estimate.duration_seconds(), 2.4);
  EXPECT_GE(estimate.memory_bytes(), 6 * 100 * 8);
  EXPECT_GE(estimate.disk_bytes(), 6 * 17 * 8);
}

TEST(UnitTest, GivesTheUnitOfAnAmplitudeByTheImposedQuantity) {
  v1::StudySpec spec = BareStudy();
  study::FillDefaults(&spec);
  EXPECT_EQ(study::UnitAt(spec, "drive.sine.amplitude"), "rad/tau");
  spec.mutable_drive()->mutable_torque();
  EXPECT_EQ(study::UnitAt(spec, "drive.sine.amplitude"), "epsilon");
  EXPECT_EQ(study::UnitAt(spec, "drive.sine.frequency"), "cycles/tau");
}

}  // namespace
}  // namespace gyrebox
