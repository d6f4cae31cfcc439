// Warnings about fields of a valid study that are probably not what its author means.
#include "study/doubtful_fields.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "example_studies.h"
#include "study/defaults.h"
#include "study/realizations.h"

namespace gyrebox::study {
namespace {

using testing::AllOf;
using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;

/// 40 periods of a drive of 2 cycles/tau.
v1::StudySpec Sent() {
  v1::StudySpec sent = test::BareStudy();
  sent.mutable_schedule()->set_duration(20);
  sent.mutable_drive()->mutable_sine()->set_amplitude(20);
  sent.mutable_drive()->mutable_sine()->set_frequency(2);
  return sent;
}

std::vector<std::string> Doubts(const v1::StudySpec& sent) {
  v1::StudySpec spec = sent;
  FillDefaults(&spec);
  return DoubtfulFields(sent, spec);
}

void AddAxis(v1::StudySpec* sent, const std::string& field, const std::vector<double>& values) {
  v1::Axis& axis = *sent->add_axes();
  axis.set_field(field);
  axis.mutable_values()->Assign(values.begin(), values.end());
}

TEST(DoubtfulFieldsTest, AreNoneInAPlainStudy) { EXPECT_THAT(Doubts(Sent()), IsEmpty()); }

TEST(DoubtfulFieldsTest, FewPeriodsOfTheDrive) {
  v1::StudySpec sent = Sent();
  sent.mutable_schedule()->set_duration(9.5);
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("schedule: a stage lasts 19 periods of the drive")));
  sent.mutable_drive()->mutable_sine()->set_amplitude(0);
  EXPECT_THAT(Doubts(sent), IsEmpty());
}

TEST(DoubtfulFieldsTest, FewPeriodsOfAStage) {
  v1::StudySpec sent = Sent();
  sent.mutable_schedule()->clear_duration();
  for (const double duration : {20, 4}) sent.mutable_schedule()->add_stages()->set_duration(duration);
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("a stage lasts 8 periods")));
}

TEST(DoubtfulFieldsTest, FewPeriodsOfTheModulation) {
  v1::StudySpec sent = Sent();
  auto& am = *sent.mutable_drive()->mutable_am();
  am.set_amplitude(20);
  am.set_frequency(4);
  am.set_depth(0.5);
  am.set_modulation_frequency(0.25);
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("lasts 5 periods")));
}

TEST(DoubtfulFieldsTest, AFrequencyInRadiansOrHertz) {
  v1::StudySpec sent = Sent();
  sent.mutable_drive()->mutable_sine()->set_frequency(6.283);
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("drive.sine.frequency of 6.283 is a multiple of pi")));
  sent.mutable_drive()->mutable_sine()->set_frequency(22);  // 22/7 is near pi, but not as near
  EXPECT_THAT(Doubts(sent), IsEmpty());
  sent.mutable_laboratory()->set_frequency_hz(22);
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("drive.sine.frequency equals laboratory.frequency_hz")));
}

// tau = zeta_0 sigma^2 / epsilon, with Stokes' drag 3 pi viscosity diameter and epsilon = k_B T over the reduced
// temperature; see gyrebox/units.h.
TEST(DoubtfulFieldsTest, AFrequencyThatTheLaboratoryDoesNotHave) {
  v1::StudySpec sent = Sent();
  sent.mutable_thermal()->set_temperature(0.002);
  v1::Laboratory& lab = *sent.mutable_laboratory();
  lab.set_bead_diameter_um(4.5);
  lab.set_viscosity_mpa_s(0.89);
  lab.set_temperature_k(298.15);
  const double tau = 3 * std::numbers::pi * 0.89e-3 * std::pow(4.5e-6, 3) * 0.002 / (1.380649e-23 * 298.15);
  lab.set_frequency_hz(2 / tau);
  EXPECT_THAT(Doubts(sent), IsEmpty());
  lab.set_frequency_hz(6 / tau);
  EXPECT_THAT(Doubts(sent), Contains(AllOf(HasSubstr("drive.sine.frequency of 2 cycles/tau is"),
                                           HasSubstr("; 6 cycles/tau would agree"))));
  sent.mutable_thermal()->set_temperature(0);  // the scale of time is unknown then
  EXPECT_THAT(Doubts(sent), IsEmpty());
}

// A soft contact pushes back with strength (1 - r/cutoff), 8 at 0.6 sigma; a spinner drags a bead that it touches with
// its friction at contact, 5 (1 - 1/1.25) = 1, times its rate.
TEST(DoubtfulFieldsTest, ADriveThatPressesBeadsTooClose) {
  v1::StudySpec sent = Sent();
  sent.mutable_thermal()->set_temperature(0);
  sent.mutable_forces()->mutable_soft()->set_strength(20);
  sent.mutable_forces()->mutable_soft()->set_cutoff(1);
  sent.mutable_friction()->set_tangential(5);
  sent.mutable_friction()->set_cutoff(1.25);
  sent.mutable_health()->set_closest_pair(0.6);
  sent.mutable_drive()->mutable_sine()->set_amplitude(7.9);
  EXPECT_THAT(Doubts(sent), IsEmpty());
  AddAxis(&sent, "drive.sine.amplitude", {4, 8.1, 20});
  sent.mutable_drive()->mutable_sine()->clear_amplitude();
  EXPECT_THAT(Doubts(sent), Contains(AllOf(HasSubstr("drive: at 2 of 3 points, from a peak rate of 8.1 rad/tau on"),
                                           HasSubstr("the 0.6 sigma of health.closest_pair"))));
}

TEST(DoubtfulFieldsTest, AValueThatAnAxisOverrides) {
  v1::StudySpec sent = Sent();
  AddAxis(&sent, "drive.sine.amplitude", {10, 20});
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("drive.sine.amplitude is given, but axes[0] varies it")));
  sent.mutable_drive()->mutable_sine()->clear_amplitude();
  EXPECT_THAT(Doubts(sent), IsEmpty());
}

TEST(DoubtfulFieldsTest, IdenticalRealizations) {
  v1::StudySpec sent = Sent();
  sent.mutable_start()->mutable_saved()->set_run("studies/1/runs/1");
  sent.mutable_thermal()->set_temperature(0);
  sent.mutable_trials()->set_count(3);
  EXPECT_THAT(Doubts(sent), Contains(HasSubstr("trials.count")));
  sent.mutable_trials()->set_count(1);
  EXPECT_THAT(Doubts(sent), IsEmpty());
}

TEST(RealizationsTest, DifferByPositionsNoiseOrDisorderOfAnyStage) {
  v1::StudySpec at = Sent();
  FillDefaults(&at);
  at.mutable_thermal()->set_temperature(0);
  EXPECT_FALSE(RealizationsAreIdentical(at));  // from positions of their own
  at.mutable_start()->mutable_saved()->set_run("studies/1/runs/1");
  EXPECT_TRUE(RealizationsAreIdentical(at));
  v1::StudySpec warm = at;
  warm.mutable_thermal()->set_temperature(0.01);
  EXPECT_FALSE(RealizationsAreIdentical(warm));
  v1::StudySpec spread = at;
  spread.mutable_drive()->mutable_disorder()->set_phase_spread(0.1);
  EXPECT_FALSE(RealizationsAreIdentical(spread));
  v1::StudySpec later = at;
  later.mutable_schedule()->clear_duration();
  later.mutable_schedule()->add_stages()->set_duration(1);
  EXPECT_TRUE(RealizationsAreIdentical(later));
  later.mutable_schedule()->mutable_stages(0)->mutable_ramp()->set_temperature(0.1);
  EXPECT_FALSE(RealizationsAreIdentical(later));
}

}  // namespace
}  // namespace gyrebox::study
