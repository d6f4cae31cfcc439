// How the choices of a study map to the kernels, and which are refused.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <limits>

#include "example_studies.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "study/rules.h"
#include "study/run_spec.h"
#include "study/schedule.h"
#include "study/validation/validate.h"

namespace gyrebox {
namespace {

using kernels::Parameter;
using test::BareStudy;
using testing::ElementsAre;
using testing::IsEmpty;
using Shape = kernels::WaveSpec::Shape;
using S = v1::StudySpec;

v1::StudySpec Filled(v1::StudySpec spec) {
  study::FillDefaults(&spec);
  return spec;
}

kernels::RunSpec RunSpecOf(const v1::StudySpec& spec) {
  const v1::StudySpec filled = Filled(spec);
  const auto faults = study::Validate(filled);
  for (const auto& fault : faults) ADD_FAILURE() << fault.field() << ": " << fault.description();
  return study::ToRunSpec(study::AtPoint(filled, {}), filled.seeds());
}

v1::Stage& AddStage(S& spec, double duration) {
  spec.mutable_schedule()->clear_duration();
  v1::Stage& stage = *spec.mutable_schedule()->add_stages();
  stage.set_duration(duration);
  return stage;
}

v1::Axis& AddAxis(S& spec, const char* field, const std::vector<double>& values) {
  v1::Axis& axis = *spec.add_axes();
  axis.set_field(field);
  axis.mutable_values()->Assign(values.begin(), values.end());
  return axis;
}

/// A bare study of three stages: 1, 0.5 and 2 tau.
S Staged() {
  S spec = BareStudy();
  for (const double duration : {1.0, 0.5, 2.0}) AddStage(spec, duration);
  return spec;
}

S Soft(double number_density) {
  S spec = BareStudy();
  spec.mutable_forces()->mutable_soft();
  spec.mutable_bed()->set_number_density(number_density);
  return spec;
}

// ---- forces and density

TEST(ForcesTest, EveryLawHasItsDefaults) {
  using Law = kernels::ForceSpec::Law;
  const auto force_of = [](const std::function<void(v1::Forces&)>& choose) {
    S spec = BareStudy();
    choose(*spec.mutable_forces());
    return RunSpecOf(spec).force;
  };
  const auto expect = [](const kernels::ForceSpec& force, Law law, double strength, double cutoff) {
    EXPECT_EQ(force.law, law);
    EXPECT_EQ(force.strength, strength);
    EXPECT_DOUBLE_EQ(force.cutoff, cutoff);
  };
  expect(force_of([](auto&) {}), Law::kExponential, 20, 1.3);
  expect(force_of([](auto& forces) { forces.mutable_soft(); }), Law::kSoft, 25, 1);
  expect(force_of([](auto& forces) { forces.mutable_wca(); }), Law::kWca, 1, 1.122462048309373);
  expect(force_of([](auto& forces) { forces.mutable_harmonic(); }), Law::kHarmonic, 200, 1);
  const auto yukawa = force_of([](auto& forces) { forces.mutable_yukawa(); });
  expect(yukawa, Law::kYukawa, 10, 2);
  EXPECT_EQ(yukawa.decay_length, 0.125);
}

TEST(ForcesTest, ASoftBedTakesANumberDensity) {
  const kernels::RunSpec run = RunSpecOf(Soft(3));
  EXPECT_NEAR(100 / (run.side_x * run.side_y), 3, 1e-12);
  EXPECT_FALSE(Filled(Soft(3)).bed().has_packing_fraction());
}

TEST(ForcesTest, ASoftBedMayAlsoTakeAPackingFraction) {
  S spec = BareStudy();
  spec.mutable_forces()->mutable_soft();
  const kernels::RunSpec run = RunSpecOf(spec);
  EXPECT_NEAR(100 * M_PI / 4 / (run.side_x * run.side_y), 0.7, 1e-12);
}

TEST(ForcesTest, SoftBeadsMayCoincideUnlessTheStudySaysOtherwise) {
  S spec = Soft(3);
  EXPECT_EQ(RunSpecOf(spec).health.closest_pair, 0);
  EXPECT_EQ(RunSpecOf(spec).start.closest_pair, 0);
  spec.mutable_health()->set_closest_pair(0.1);
  spec.mutable_start()->mutable_random()->set_closest_pair(0.2);
  EXPECT_EQ(RunSpecOf(spec).health.closest_pair, 0.1);
  EXPECT_EQ(RunSpecOf(spec).start.closest_pair, 0.2);
  EXPECT_EQ(RunSpecOf(BareStudy()).health.closest_pair, 0.6);
  EXPECT_EQ(RunSpecOf(BareStudy()).start.closest_pair, 0.9);
}

TEST(ForcesTest, AnAxisMayVaryTheNumberDensity) {
  S spec = Soft(3);
  AddAxis(spec, "bed.number_density", {2, 4});
  spec = Filled(spec);
  EXPECT_THAT(study::Validate(spec), IsEmpty());
  const kernels::RunSpec run = study::ToRunSpec(study::AtPoint(spec, {4}), spec.seeds());
  EXPECT_NEAR(100 / (run.side_x * run.side_y), 4, 1e-12);
}

// ---- dynamics, starts, retries

TEST(DynamicsTest, EveryEquationHasItsDefaults) {
  using Equation = kernels::DynamicsSpec::Equation;
  S spec = BareStudy();
  EXPECT_EQ(RunSpecOf(spec).dynamics.equation, Equation::kLagged);
  spec.mutable_dynamics()->mutable_overdamped()->mutable_converged();
  EXPECT_EQ(RunSpecOf(spec).dynamics.equation, Equation::kConverged);
  EXPECT_EQ(RunSpecOf(spec).dynamics.tolerance, 1e-3);
  EXPECT_EQ(RunSpecOf(spec).dynamics.max_iterations, 500);
  EXPECT_TRUE(RunSpecOf(spec).dynamics.midpoint);
  spec.mutable_dynamics()->mutable_overdamped()->mutable_converged()->set_tolerance(1e-6);
  EXPECT_EQ(RunSpecOf(spec).dynamics.tolerance, 1e-6);
  spec.mutable_dynamics()->mutable_brownian();
  EXPECT_EQ(RunSpecOf(spec).dynamics.equation, Equation::kBrownian);
  EXPECT_EQ(RunSpecOf(spec).dynamics.transverse_coupling, 5);
}

TEST(StartTest, PositionsAndLabels) {
  using Arrangement = kernels::StartSpec::Arrangement;
  using Labels = kernels::StartSpec::Labels;
  S spec = BareStudy();
  EXPECT_EQ(RunSpecOf(spec).start.arrangement, Arrangement::kRandom);
  EXPECT_EQ(RunSpecOf(spec).start.labels, Labels::kScattered);
  spec.mutable_start()->mutable_square();
  spec.mutable_start()->mutable_drop();
  EXPECT_EQ(RunSpecOf(spec).start.arrangement, Arrangement::kSquare);
  EXPECT_EQ(RunSpecOf(spec).start.labels, Labels::kDrop);
  EXPECT_DOUBLE_EQ(RunSpecOf(spec).side_x, RunSpecOf(spec).side_y);  // 10 rows of 10
  spec.mutable_start()->mutable_triangular();
  spec.mutable_start()->mutable_stripe();
  EXPECT_EQ(RunSpecOf(spec).start.arrangement, Arrangement::kTriangular);
  EXPECT_EQ(RunSpecOf(spec).start.labels, Labels::kStripe);
}

TEST(RetryTest, NoneByDefault) {
  S spec = BareStudy();
  EXPECT_EQ(RunSpecOf(spec).retry.max_halvings, 0);
  EXPECT_EQ(RunSpecOf(spec).retry.keep_steps, 4000);  // 2 tau
  spec.mutable_retry()->set_max_halvings(3);
  spec.mutable_retry()->set_keep_interval(0.5);
  EXPECT_EQ(RunSpecOf(spec).retry.max_halvings, 3);
  EXPECT_EQ(RunSpecOf(spec).retry.keep_steps, 1000);
  spec.mutable_retry()->set_keep_interval(1e-9);
  EXPECT_EQ(RunSpecOf(spec).retry.keep_steps, 1);
}

// ---- drive

kernels::WaveSpec WaveOf(const std::function<void(v1::Drive&)>& choose) {
  S spec = BareStudy();
  choose(*spec.mutable_drive());
  return RunSpecOf(spec).drive.wave;
}

template <class Wave>
void Basic(Wave* wave, double amplitude, double frequency) {
  wave->set_amplitude(amplitude);
  wave->set_frequency(frequency);
}

TEST(WaveTest, SteadyMayTurnTheOtherWay) {
  const auto wave = WaveOf([](auto& drive) { drive.mutable_steady()->set_amplitude(-3); });
  EXPECT_EQ(wave.shape, Shape::kSteady);
  EXPECT_EQ(wave.amplitude, -3);
}

TEST(WaveTest, SquareAndTriangle) {
  const auto square = WaveOf([](auto& drive) { Basic(drive.mutable_square(), 4, 2); });
  EXPECT_EQ(square.shape, Shape::kSquare);
  EXPECT_EQ(square.amplitude, 4);
  EXPECT_EQ(square.frequency, 2);
  EXPECT_EQ(WaveOf([](auto& drive) { Basic(drive.mutable_triangle(), 4, 2); }).shape, Shape::kTriangle);
}

TEST(WaveTest, Chirp) {
  const auto wave = WaveOf([](auto& drive) {
    Basic(drive.mutable_chirp(), 4, 1);
    drive.mutable_chirp()->set_last_frequency(3);
    drive.mutable_chirp()->set_sweep_time(20);
  });
  EXPECT_EQ(wave.shape, Shape::kChirp);
  EXPECT_EQ(wave.frequency, 1);
  EXPECT_EQ(wave.last_frequency, 3);
  EXPECT_EQ(wave.sweep_time, 20);
}

TEST(WaveTest, Modulated) {
  const auto am = WaveOf([](auto& drive) {
    Basic(drive.mutable_am(), 4, 1);
    drive.mutable_am()->set_depth(0.5);
    drive.mutable_am()->set_modulation_frequency(0.1);
  });
  EXPECT_EQ(am.shape, Shape::kAm);
  EXPECT_EQ(am.depth, 0.5);
  EXPECT_EQ(am.modulation_frequency, 0.1);
  const auto fm = WaveOf([](auto& drive) {
    Basic(drive.mutable_fm(), 4, 1);
    drive.mutable_fm()->set_index(2);
    drive.mutable_fm()->set_modulation_frequency(0.2);
  });
  EXPECT_EQ(fm.shape, Shape::kFm);
  EXPECT_EQ(fm.index, 2);
  EXPECT_EQ(fm.modulation_frequency, 0.2);
}

void AddTerm(v1::SumWave* wave, double fraction, double frequency) {
  v1::WaveTerm& term = *wave->add_terms();
  term.set_weight(fraction);
  term.set_frequency(frequency);
}

TEST(WaveTest, Sum) {
  const auto wave = WaveOf([](auto& drive) {
    drive.mutable_sum()->set_amplitude(4);
    AddTerm(drive.mutable_sum(), 0.75, 1);
    AddTerm(drive.mutable_sum(), -0.25, 3);
  });
  EXPECT_EQ(wave.shape, Shape::kSum);
  EXPECT_EQ(wave.n_terms, 2);
  EXPECT_EQ(wave.term_weights[1], -0.25);
  EXPECT_EQ(wave.term_frequencies[1], 3);
}

TEST(DisorderTest, CarriesOver) {
  S spec = BareStudy();
  v1::Disorder& disorder = *spec.mutable_drive()->mutable_disorder();
  disorder.set_amplitude_spread(0.1);
  disorder.set_frequency_spread(0.2);
  disorder.set_phase_spread(0.3);
  disorder.set_jitter(0.25);
  disorder.set_opposite_fraction(0.5);
  const auto run = RunSpecOf(spec).drive.disorder;
  EXPECT_EQ(run.amplitude_spread, 0.1);
  EXPECT_EQ(run.frequency_spread, 0.2);
  EXPECT_EQ(run.phase_spread, 0.3);
  EXPECT_EQ(run.jitter, 0.25);
  EXPECT_EQ(run.opposite_fraction, 0.5);
}

// ---- schedule

TEST(ScheduleTest, StagesFollowOneAnother) {
  S spec = Staged();
  spec.mutable_dynamics()->set_time_step(5e-4);
  spec.mutable_schedule()->mutable_stages(1)->mutable_step()->set_amplitude(20);
  spec.mutable_schedule()->mutable_stages(2)->mutable_ramp()->set_temperature(0.5);
  const kernels::RunSpec run = RunSpecOf(spec);
  EXPECT_EQ(run.n_steps, 7000);
  ASSERT_EQ(run.adjustments.size(), 2u);  // the first stage changes nothing
  EXPECT_EQ(run.adjustments[0].step, 2000);
  ASSERT_EQ(run.adjustments[0].changes.size(), 1u);
  EXPECT_EQ(run.adjustments[0].changes[0].parameter, Parameter::kAmplitude);
  EXPECT_EQ(run.adjustments[0].changes[0].value, 20);
  EXPECT_FALSE(run.adjustments[0].changes[0].ramp);
  EXPECT_EQ(run.adjustments[1].step, 3000);
  EXPECT_EQ(run.adjustments[1].ramp_steps, 4000);
  ASSERT_EQ(run.adjustments[1].changes.size(), 1u);
  EXPECT_EQ(run.adjustments[1].changes[0].parameter, Parameter::kTemperature);
  EXPECT_TRUE(run.adjustments[1].changes[0].ramp);
}

TEST(ScheduleTest, AStepComesBeforeTheRampOfItsStage) {
  S spec = Staged();
  spec.mutable_schedule()->mutable_stages(0)->mutable_ramp()->set_amplitude(30);
  spec.mutable_schedule()->mutable_stages(0)->mutable_step()->set_amplitude(20);
  const auto changes = RunSpecOf(spec).adjustments.at(0).changes;
  ASSERT_EQ(changes.size(), 2u);
  EXPECT_EQ(changes[0].value, 20);
  EXPECT_EQ(changes[1].value, 30);
}

TEST(ScheduleTest, StagesAreWholeSteps) {
  S spec = Staged();
  spec.mutable_schedule()->mutable_stages(0)->set_duration(1.00024);
  spec.mutable_schedule()->mutable_stages(1)->set_duration(3e-4);
  EXPECT_EQ(RunSpecOf(spec).n_steps, 2000 + 1 + 4000);
}

TEST(ScheduleTest, EveryNumberIsTranslated) {
  S spec = BareStudy();
  Basic(spec.mutable_drive()->mutable_fm(), 4, 1);
  spec.mutable_drive()->mutable_fm()->set_index(1);
  spec.mutable_drive()->mutable_fm()->set_modulation_frequency(0.5);
  v1::RunSettings& step = *AddStage(spec, 1).mutable_step();
  const std::pair<const char*, Parameter> kAll[] = {
      {"amplitude", Parameter::kAmplitude},
      {"frequency", Parameter::kFrequency},
      {"index", Parameter::kIndex},
      {"modulation_frequency", Parameter::kModulationFrequency},
      {"temperature", Parameter::kTemperature},
      {"friction_tangential", Parameter::kFrictionTangential},
      {"friction_normal", Parameter::kFrictionNormal},
      {"amplitude_spread", Parameter::kAmplitudeSpread},
      {"frequency_spread", Parameter::kFrequencySpread},
      {"phase_spread", Parameter::kPhaseSpread},
      {"jitter", Parameter::kJitter},
      {"opposite_fraction", Parameter::kOppositeFraction},
  };
  double value = 0;
  for (const auto& [name, parameter] : kAll) {
    step.GetReflection()->SetDouble(&step, step.GetDescriptor()->FindFieldByName(name), value += 0.01);
  }
  const auto changes = RunSpecOf(spec).adjustments.at(0).changes;
  ASSERT_EQ(changes.size(), std::size(kAll));
  for (size_t i = 0; i < changes.size(); ++i) {
    EXPECT_EQ(changes[i].parameter, kAll[i].second) << kAll[i].first;
    EXPECT_NEAR(changes[i].value, 0.01 * static_cast<double>(i + 1), 1e-12) << kAll[i].first;
  }
}

TEST(ScheduleTest, AStepMayBringAnotherWaveAndLaterStagesChangeIt) {
  S spec = Staged();
  v1::ChirpWave& chirp = *spec.mutable_schedule()->mutable_stages(1)->mutable_step()->mutable_chirp();
  Basic(&chirp, 7, 1);
  chirp.set_last_frequency(2);
  chirp.set_sweep_time(5);
  spec.mutable_schedule()->mutable_stages(2)->mutable_step()->set_sweep_time(8);
  spec.mutable_schedule()->mutable_stages(2)->mutable_ramp()->set_last_frequency(4);
  const auto adjustments = RunSpecOf(spec).adjustments;
  ASSERT_EQ(adjustments.size(), 2u);
  ASSERT_EQ(adjustments[0].wave.size(), 1u);
  EXPECT_EQ(adjustments[0].wave[0].shape, Shape::kChirp);
  EXPECT_EQ(adjustments[0].wave[0].sweep_time, 5);
  EXPECT_EQ(adjustments[1].changes[0].parameter, Parameter::kSweepTime);
  EXPECT_EQ(adjustments[1].changes[1].parameter, Parameter::kLastFrequency);
}

TEST(ScheduleTest, AnAxisVariesOneStage) {
  S spec = Staged();
  AddAxis(spec, "schedule.stages[1].step.amplitude", {20, 30});
  AddAxis(spec, "schedule.stages[2].duration", {1, 4});
  spec = Filled(spec);
  EXPECT_THAT(study::Validate(spec), IsEmpty());
  EXPECT_EQ(study::UnitAt(spec, "schedule.stages[1].step.amplitude"), "rad/tau");
  const auto run = study::ToRunSpec(study::AtPoint(spec, {30, 4}), spec.seeds());
  EXPECT_EQ(run.n_steps, 2000 + 1000 + 8000);
  EXPECT_EQ(run.adjustments.at(0).changes.at(0).value, 30);
  EXPECT_EQ(study::LastStageTime(study::AtPoint(spec, {30, 4})), 4);
  EXPECT_EQ(study::LastStageTime(Filled(BareStudy())), 2);
}

TEST(ScheduleTest, SamplesEightTimesTheShortestPeriodOfAnyStage) {
  S spec = Staged();
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 250);
  spec.mutable_schedule()->mutable_stages(2)->mutable_ramp()->set_frequency(5);
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 50);
  spec.mutable_schedule()->mutable_stages(0)->mutable_step()->mutable_steady();
  Basic(spec.mutable_schedule()->mutable_stages(1)->mutable_step()->mutable_square(), 1, 10);
  EXPECT_EQ(RunSpecOf(spec).measure.interval_steps, 25);
}

TEST(ScheduleTest, FrequencySpreadAffectsTheStepButNotTheSamples) {
  S spec = BareStudy();
  spec.mutable_drive()->mutable_disorder()->set_frequency_spread(0.2);
  const auto highest = study::HighestFrequencyOf(Filled(spec));
  EXPECT_EQ(highest.of_wave, 1);
  EXPECT_DOUBLE_EQ(highest.of_spinner, 1.6);
  EXPECT_EQ(highest.stage, -1);
}

TEST(LaboratoryTest, ChangesNoRunAndHasNoDefaults) {
  S spec = BareStudy();
  spec.mutable_laboratory()->set_bead_diameter_um(3);
  EXPECT_EQ(RunSpecOf(spec).side_x, RunSpecOf(BareStudy()).side_x);
  EXPECT_FALSE(Filled(spec).laboratory().has_field_mt());
}

TEST(ScheduleTest, FaultsOfAllStagesAreReportedAtOnce) {
  S spec = Staged();
  spec.mutable_schedule()->mutable_stages(0)->mutable_step()->set_depth(1);
  spec.mutable_schedule()->mutable_stages(1)->clear_duration();
  spec.mutable_schedule()->mutable_stages(2)->mutable_ramp()->set_jitter(2);
  std::vector<std::string> fields;
  for (const auto& fault : study::Validate(Filled(spec))) fields.push_back(fault.field());
  EXPECT_THAT(fields, ElementsAre("schedule.stages[1].duration", "schedule.stages[0].step.depth",
                                  "schedule.stages[2].ramp.jitter"));
}

// ---- refused choices

struct BadStudy {
  const char* name;
  std::function<void(S&)> spoil;
  const char* field;
  const char* description;
};

void PrintTo(const BadStudy& bad, std::ostream* out) { *out << bad.field; }

class BadChoiceTest : public testing::TestWithParam<BadStudy> {};

TEST_P(BadChoiceTest, NamesTheFieldAndTheValidAlternative) {
  S spec = Staged();
  GetParam().spoil(spec);
  const auto faults = study::Validate(Filled(spec));
  ASSERT_FALSE(faults.empty());
  bool found = false;
  for (const auto& fault : faults) {
    found = found || (fault.field() == GetParam().field &&
                      fault.description().find(GetParam().description) != std::string::npos);
  }
  EXPECT_TRUE(found) << "first of " << faults.size() << ": " << faults[0].field() << ": " << faults[0].description();
}

v1::RunSettings& Step(S& spec, int stage) { return *spec.mutable_schedule()->mutable_stages(stage)->mutable_step(); }
v1::RunSettings& Ramp(S& spec, int stage) { return *spec.mutable_schedule()->mutable_stages(stage)->mutable_ramp(); }
v1::Disorder& Disorder(S& spec) { return *spec.mutable_drive()->mutable_disorder(); }
v1::Dynamics& Dynamics(S& spec) { return *spec.mutable_dynamics(); }
constexpr double kNan = std::numeric_limits<double>::quiet_NaN();

INSTANTIATE_TEST_SUITE_P(
    All, BadChoiceTest,
    testing::Values(
        BadStudy{"NumberDensityOfHardBeads", [](S& s) { s.mutable_bed()->set_number_density(1); }, "bed.number_density",
                 "give bed.packing_fraction, or [forces.soft]"},
        BadStudy{"SizeThatIsNoAverage", [](S& s) { s.mutable_measure()->set_size_observable("closest_pair"); },
                 "measure.size_observable", "give spinner_weight_average_size or spinner_number_average_size"},
        BadStudy{"NoNumberDensity", [](S& s) { s = Soft(0); }, "bed.number_density",
                 "0 is too small; over 0 beads/sigma^2"},
        BadStudy{"NumberDensityTooHigh", [](S& s) { s = Soft(21); }, "bed.number_density", "at most 20"},
        BadStudy{"AxisOfTheDensityNotGiven", [](S& s) { AddAxis(s, "bed.number_density", {1}); }, "axes[0].field",
                 "belongs to a choice not taken; the study has bed.packing_fraction"},
        BadStudy{"StrengthBelowZero", [](S& s) { s.mutable_forces()->mutable_wca()->set_strength(-1); },
                 "forces.wca.strength", "at least 0 epsilon"},
        BadStudy{"LongScreening", [](S& s) { s.mutable_forces()->mutable_yukawa()->set_decay_length(2); },
                 "forces.yukawa.decay_length", "at most 1 sigma"},
        BadStudy{"LongSpring", [](S& s) { s.mutable_forces()->mutable_harmonic()->set_cutoff(4); },
                 "forces.harmonic.cutoff", "at most 3 sigma"},
        BadStudy{"LooseTolerance",
                 [](S& s) { Dynamics(s).mutable_overdamped()->mutable_converged()->set_tolerance(0.2); },
                 "dynamics.overdamped.converged.tolerance", "at most 0.1"},
        BadStudy{"FineTolerance",
                 [](S& s) { Dynamics(s).mutable_overdamped()->mutable_converged()->set_tolerance(1e-8); },
                 "dynamics.overdamped.converged.tolerance", "at least 1e-7"},
        BadStudy{"NoIterations",
                 [](S& s) { Dynamics(s).mutable_overdamped()->mutable_converged()->set_max_iterations(0); },
                 "dynamics.overdamped.converged.max_iterations", "at least 1"},
        BadStudy{"SwirlBelowZero", [](S& s) { Dynamics(s).mutable_brownian()->set_transverse_coupling(-1); },
                 "dynamics.brownian.transverse_coupling", "at least 0 zeta_0"},
        BadStudy{"SpreadThatTurnsAround", [](S& s) { Disorder(s).set_amplitude_spread(0.31); },
                 "drive.disorder.amplitude_spread", "at most 0.3"},
        BadStudy{"FrequencySpread", [](S& s) { Disorder(s).set_frequency_spread(-0.1); },
                 "drive.disorder.frequency_spread", "at least 0"},
        BadStudy{"PhaseSpread", [](S& s) { Disorder(s).set_phase_spread(1.5); }, "drive.disorder.phase_spread",
                 "at most 1 turns"},
        BadStudy{"Jitter", [](S& s) { Disorder(s).set_jitter(kNan); }, "drive.disorder.jitter",
                 "nan is not a finite number"},
        BadStudy{"OppositeShare", [](S& s) { Disorder(s).set_opposite_fraction(1.1); },
                 "drive.disorder.opposite_fraction", "at most 1"},
        BadStudy{"SquareWithoutAmplitude", [](S& s) { s.mutable_drive()->mutable_square()->set_frequency(1); },
                 "drive.square.amplitude", "is missing"},
        BadStudy{"ChirpWithoutSweep", [](S& s) { Basic(s.mutable_drive()->mutable_chirp(), 1, 1); },
                 "drive.chirp.sweep_time", "is missing"},
        BadStudy{"TooDeep",
                 [](S& s) {
                   Basic(s.mutable_drive()->mutable_am(), 1, 1);
                   s.mutable_drive()->mutable_am()->set_depth(1.5);
                 },
                 "drive.am.depth", "at most 1"},
        BadStudy{"SumOfNothing", [](S& s) { s.mutable_drive()->mutable_sum()->set_amplitude(1); }, "drive.sum.terms",
                 "0 terms; give 1 to 4"},
        BadStudy{"SumOfFive",
                 [](S& s) {
                   s.mutable_drive()->mutable_sum()->set_amplitude(1);
                   for (int k = 1; k <= 5; ++k) AddTerm(s.mutable_drive()->mutable_sum(), 0.2, k);
                 },
                 "drive.sum.terms", "5 terms; give 1 to 4"},
        BadStudy{"TermWithoutFrequency",
                 [](S& s) {
                   s.mutable_drive()->mutable_sum()->set_amplitude(1);
                   s.mutable_drive()->mutable_sum()->add_terms()->set_weight(1);
                 },
                 "drive.sum.terms[0].frequency", "is missing"},
        BadStudy{"NeitherDurationNorStages", [](S& s) { s.clear_schedule(); }, "schedule.duration", "tau, or stages"},
        BadStudy{"DurationAndStages", [](S& s) { s.mutable_schedule()->set_duration(3.5); }, "schedule.duration",
                 "the stages give the length of the run; give one of the two"},
        BadStudy{"AxisOfTheDurationBesideStages", [](S& s) { AddAxis(s, "schedule.duration", {1}); },
                 "schedule.duration", "give one of the two"},
        BadStudy{"StageWithoutDuration", [](S& s) { s.mutable_schedule()->add_stages(); },
                 "schedule.stages[3].duration", "is missing"},
        BadStudy{"StageBelowAStep", [](S& s) { AddStage(s, 1e-4); }, "schedule.stages[3].duration",
                 "is shorter than one step"},
        BadStudy{"TooManySteps", [](S& s) { AddStage(s, 1e9); }, "schedule.stages", "is 2e12 steps, which is too many"},
        BadStudy{"LongLabel", [](S& s) { s.mutable_schedule()->mutable_stages(0)->set_label(std::string(41, 'x')); },
                 "schedule.stages[0].label", "at most 40"},
        BadStudy{"NegativeAmplitudeOfASine", [](S& s) { Step(s, 1).set_amplitude(-1); },
                 "schedule.stages[1].step.amplitude", "at least 0 rad/tau"},
        BadStudy{"RampOutOfRange", [](S& s) { Ramp(s, 1).set_temperature(101); }, "schedule.stages[1].ramp.temperature",
                 "at most 100 epsilon"},
        BadStudy{"FrictionBelowZero", [](S& s) { Ramp(s, 2).set_friction_normal(-1); },
                 "schedule.stages[2].ramp.friction_normal", "at least 0 zeta_0"},
        BadStudy{"SpreadOfAStage", [](S& s) { Step(s, 0).set_jitter(0.4); }, "schedule.stages[0].step.jitter",
                 "at most 0.3"},
        BadStudy{"NumberOfAnotherWave", [](S& s) { Step(s, 1).set_depth(0.5); }, "schedule.stages[1].step.depth",
                 "the wave here is sine, which has no depth"},
        BadStudy{"NumberOfTheWaveBefore",
                 [](S& s) {
                   Step(s, 0).mutable_steady();
                   Step(s, 2).set_frequency(1);
                 },
                 "schedule.stages[2].step.frequency", "the wave here is steady, which has no frequency"},
        BadStudy{"FrictionOfBrownianBeads",
                 [](S& s) {
                   Dynamics(s).mutable_brownian();
                   Step(s, 0).set_friction_tangential(1);
                 },
                 "schedule.stages[0].step.friction_tangential", "no friction between beads in brownian dynamics"},
        BadStudy{"RampToAnotherWave", [](S& s) { Ramp(s, 1).mutable_steady(); }, "schedule.stages[1].ramp.steady",
                 "give it in the stage's step"},
        BadStudy{"WaveAndItsNumberApart",
                 [](S& s) {
                   Step(s, 1).mutable_steady();
                   Step(s, 1).set_amplitude(4);
                 },
                 "schedule.stages[1].step.amplitude", "give it in [schedule.stages[1].step.steady]"},
        BadStudy{"SumOfNothingInAStage", [](S& s) { Step(s, 1).mutable_sum()->set_amplitude(1); },
                 "schedule.stages[1].step.sum.terms", "0 terms"},
        BadStudy{"StageWithFewStepsAPeriod",
                 [](S& s) {
                   Dynamics(s).set_time_step(5e-4);
                   Ramp(s, 1).set_frequency(200);
                 },
                 "schedule.stages[1]", "200 cycles/tau leaves 10 steps a period"},
        BadStudy{"SpreadWithFewStepsAPeriod",
                 [](S& s) {
                   Dynamics(s).set_time_step(5e-4);
                   s.mutable_drive()->mutable_sine()->set_frequency(80);
                   Disorder(s).set_frequency_spread(0.3);
                 },
                 "drive.sine.frequency", "its highest frequency of 152 cycles/tau leaves"},
        BadStudy{"ModulationWithFewStepsAPeriod",
                 [](S& s) {
                   Dynamics(s).set_time_step(5e-4);
                   Basic(s.mutable_drive()->mutable_fm(), 1, 10);
                   s.mutable_drive()->mutable_fm()->set_index(10);
                   s.mutable_drive()->mutable_fm()->set_modulation_frequency(10);
                 },
                 "drive.fm.frequency", "its highest frequency of 120 cycles/tau leaves"},
        BadStudy{"AxisOfAStageThatIsNotThere", [](S& s) { AddAxis(s, "schedule.stages[3].step.amplitude", {1}); },
                 "axes[0].field", "is not there; the study has 3 schedule.stages, counted from 0"},
        BadStudy{"AxisOfNoStage", [](S& s) { AddAxis(s, "schedule.stages.step.amplitude", {1}); }, "axes[0].field",
                 "did you mean schedule.stages[0].step.amplitude?"},
        BadStudy{"AxisOfAStageBelowZero", [](S& s) { AddAxis(s, "schedule.stages[-1].step.amplitude", {1}); },
                 "axes[0].field", "names no field"},
        BadStudy{"AxisValueOfAStageOutOfRange",
                 [](S& s) {
                   AddAxis(s, "schedule.stages[1].step.amplitude", {20, -1});
                 },
                 "axes[0]", "schedule.stages[1].step.amplitude: -1 is too small"},
        BadStudy{"AxisOverAStageWithFewStepsAPeriod",
                 [](S& s) {
                   Dynamics(s).set_time_step(5e-4);
                   AddAxis(s, "schedule.stages[1].step.frequency", {1, 200});
                 },
                 "axes[0]", "200 cycles/tau leaves 10 steps a period"},
        BadStudy{"AxisOfAnAxis", [](S& s) { AddAxis(s, "axes[0].linear.first", {1}); }, "axes[0].field",
                 "is the same in all runs of a study"},
        BadStudy{"AxisOfTheLaboratory", [](S& s) { AddAxis(s, "laboratory.field_mt", {1}); }, "axes[0].field",
                 "is the same in all runs of a study"},
        BadStudy{"TooManyHalvings", [](S& s) { s.mutable_retry()->set_max_halvings(7); }, "retry.max_halvings",
                 "at most 6"},
        BadStudy{"NoKeepInterval", [](S& s) { s.mutable_retry()->set_keep_interval(0); }, "retry.keep_interval",
                 "over 0 tau"},
        BadStudy{"NoDiameter", [](S& s) { s.mutable_laboratory()->set_bead_diameter_um(0); },
                 "laboratory.bead_diameter_um", "over 0 um"}),
    [](const auto& info) { return info.param.name; });

}  // namespace
}  // namespace gyrebox
