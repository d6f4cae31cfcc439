// Reading study files: values, line numbers, faults.
#include "lib/study_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace gyrebox::client {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr char kSound[] = R"(title = "a study"

[bed]
bead_count = 1e3
packing_fraction = 0.7

[drive.sine]
amplitude = 4
frequency = 0.5

[schedule]
duration = 10

[[axes]]
field = "thermal.temperature"
values = [
  0,
  0.5,
]

[[axes]]
field = "drive.sine.amplitude"
[axes.linear]
first = 1
last = 3
count = 5

[trials]
count = 2
vary_noise = true
)";

TEST(StudyFileTest, ReadsEveryKindOfField) {
  const StudyFile file = ParseStudyFile(kSound);
  EXPECT_THAT(file.faults, IsEmpty());
  EXPECT_EQ(file.spec.title(), "a study");
  EXPECT_EQ(file.spec.bed().bead_count(), 1000);
  EXPECT_EQ(file.spec.drive().sine().amplitude(), 4);
  EXPECT_EQ(file.spec.schedule().duration(), 10);
  ASSERT_EQ(file.spec.axes_size(), 2);
  EXPECT_THAT(file.spec.axes(0).values(), ElementsAre(0, 0.5));
  EXPECT_EQ(file.spec.axes(1).linear().count(), 5);
  EXPECT_TRUE(file.spec.trials().vary_noise());
}

TEST(StudyFileTest, ReadsTheRunToStartFrom) {
  const StudyFile file = ParseStudyFile("[start.saved]\nrun = \"studies/3/runs/2\"\n");
  EXPECT_THAT(file.faults, IsEmpty());
  EXPECT_EQ(file.spec.start().saved().run(), "studies/3/runs/2");
}

TEST(StudyFileTest, RemembersLines) {
  const StudyFile file = ParseStudyFile(kSound);
  EXPECT_EQ(file.LineOf("bed.packing_fraction"), 5);
  EXPECT_EQ(file.LineOf("axes[0].values[1]"), 18);
  EXPECT_EQ(file.LineOf("axes[1].linear.count"), 26);
  EXPECT_EQ(file.LineOf("drive.sine.phase"), 7);     // not given: the line of its table
  EXPECT_EQ(file.LineOf("health.closest_pair"), 1);  // its table is not given either
}

TEST(StudyFileTest, ReportsAllFaultsInTheOrderOfTheirLines) {
  const StudyFile file = ParseStudyFile(R"(
[bed]
bead_cuont = 5
packing_fraction = "close"
[schedule]
duration = true
[seeds]
noise = -3
)");
  ASSERT_EQ(file.faults.size(), 4u);
  EXPECT_EQ(file.faults[0].line, 3);
  EXPECT_EQ(file.faults[0].field, "bed.bead_cuont");
  EXPECT_THAT(file.faults[0].message, HasSubstr("did you mean bead_count?"));
  EXPECT_EQ(file.faults[1].line, 4);
  EXPECT_EQ(file.faults[1].message, "\"close\" is a text; give a number");
  EXPECT_EQ(file.faults[2].line, 6);
  EXPECT_EQ(file.faults[3].line, 8);
  EXPECT_EQ(file.faults[3].message, "-3 is below 0; give a whole number from 0");
}

TEST(StudyFileTest, AddsServerFaultsExceptOfUnreadFields) {
  const StudyFile file = ParseStudyFile("[bed]\nbead_count = \"x\"\n[drive.sine]\nfrequency = 1\n");
  v1::FieldViolation same, other;
  same.set_field("bed.bead_count");
  same.set_description("is missing");
  other.set_field("drive.sine.amplitude");
  other.set_description("is missing too");
  const auto all = file.AllFaults({same, other});
  ASSERT_EQ(all.size(), 2u);
  EXPECT_EQ(all[0].line, 2);
  EXPECT_EQ(all[1].line, 3);
  EXPECT_EQ(all[1].message, "is missing too");
}

TEST(StudyFileTest, RefusesAFileTooLargeToBeAStudy) {
  const StudyFile file = ParseStudyFile(std::string(2 << 20, '#'));
  EXPECT_FALSE(file.is_toml);
  ASSERT_EQ(file.faults.size(), 1u);
  EXPECT_THAT(file.faults[0].message, HasSubstr("at most 1 MiB"));
}

}  // namespace
}  // namespace gyrebox::client
