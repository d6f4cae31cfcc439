// Warnings about fields of a valid study that are probably not what its author means.
#include "study/doubtful_fields.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "example_studies.h"
#include "study/defaults.h"
#include "study/realizations.h"

namespace gyrebox::study {
namespace {

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
