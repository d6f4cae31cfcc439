// Studies after growth.
#include "study/grow.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "example_studies.h"
#include "study/expand.h"
#include "study/validation/validate.h"

namespace gyrebox::study {
namespace {

using test::AmplitudeStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

v1::GrowStudyRequest Adding(int trials) {
  v1::GrowStudyRequest request;
  request.set_add_trials(trials);
  return request;
}

void AddAxis(v1::GrowStudyRequest& request, const std::string& field, const std::vector<double>& values) {
  v1::Axis& axis = *request.add_axes();
  axis.set_field(field);
  axis.mutable_values()->Assign(values.begin(), values.end());
}

/// The faults of a request as "field: description", as found by a server.
std::vector<std::string> FaultsOf(const v1::StudySpec& spec, const v1::GrowStudyRequest& request) {
  auto faults = CheckGrowth(spec, request);
  const v1::StudySpec asked = AsAsked(spec, request);
  for (const auto& fault : InRequest(Validate(asked), asked, request)) faults.push_back(fault);
  if (faults.empty()) {
    const v1::StudySpec grown = Grown(spec, request);
    faults = InRequest(Validate(grown), grown, request);
  }
  std::vector<std::string> texts;
  for (const auto& fault : faults) texts.push_back(fault.field() + ": " + fault.description());
  return texts;
}

std::vector<double> ValuesOf(const v1::StudySpec& spec, int axis) {
  EXPECT_EQ(spec.axes(axis).spacing_case(), v1::Axis::SPACING_NOT_SET);
  return {spec.axes(axis).values().begin(), spec.axes(axis).values().end()};
}

TEST(GrowTest, NewValuesAreInsertedInAxisOrder) {
  auto request = Adding(0);
  AddAxis(request, "drive.sine.amplitude", {12, 4, 20});
  EXPECT_THAT(ValuesOf(Grown(AmplitudeStudy({4, 8, 16}, 1), request), 0), ElementsAre(4, 8, 12, 16, 20));
  EXPECT_THAT(ValuesOf(Grown(AmplitudeStudy({16, 8, 4}, 1), request), 0), ElementsAre(20, 16, 12, 8, 4));
  EXPECT_THAT(ValuesOf(Grown(AmplitudeStudy({8, 16, 2}, 1), request), 0), ElementsAre(8, 16, 2, 12, 4, 20));
}

TEST(GrowTest, SpacedValuesBecomeAList) {
  v1::StudySpec spec = AmplitudeStudy({}, 1);
  v1::AxisRange& range = *spec.mutable_axes(0)->mutable_linear();
  range.set_first(10);
  range.set_last(30);
  range.set_count(3);
  v1::GrowStudyRequest request;
  v1::Axis& axis = *request.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_logarithmic()->set_first(20);
  axis.mutable_logarithmic()->set_last(80);
  axis.mutable_logarithmic()->set_count(3);
  ASSERT_THAT(FaultsOf(spec, request), IsEmpty());
  const auto grown = Grown(spec, request);
  EXPECT_THAT(ValuesOf(grown, 0), ElementsAre(10, 20, 30, testing::DoubleNear(40, 1e-12), 80));
  EXPECT_EQ(GrowthText(spec, grown), "2 values of drive.sine.amplitude");
  EXPECT_THAT(ValuesOf(Grown(spec, Adding(1)), 0), ElementsAre(10, 20, 30));
}

TEST(GrowTest, OldRunsTakeTheStudysOwnValueOnANewAxis) {
  const auto spec = AmplitudeStudy({4}, 2);
  auto request = Adding(0);
  AddAxis(request, "drive.sine.frequency", {3, 0.5, 1});
  ASSERT_THAT(FaultsOf(spec, request), IsEmpty());
  const auto grown = Grown(spec, request);
  EXPECT_THAT(ValuesOf(grown, 1), ElementsAre(1, 3, 0.5));
  EXPECT_THAT(ValuesOfOldRuns(spec, grown), ElementsAre(1));
  const auto added = AddedRuns(spec, grown);
  ASSERT_EQ(added.size(), 4u);
  EXPECT_THAT(added[0].axis_values, ElementsAre(4, 3));
  EXPECT_THAT(added[3].axis_values, ElementsAre(4, 0.5));
  EXPECT_EQ(GrowthText(spec, grown), "2 values of drive.sine.frequency");
}

// Old and new runs together are all runs of the grown study, each once, with the same seeds.
TEST(GrowTest, NothingIsMissingAndNothingIsDuplicated) {
  const auto spec = AmplitudeStudy({4, 8}, 2);
  auto request = Adding(1);
  AddAxis(request, "drive.sine.amplitude", {6});
  AddAxis(request, "drive.sine.frequency", {2});
  const auto grown = Grown(spec, request);
  EXPECT_EQ(GrowthText(spec, grown), "1 trial, 1 value of drive.sine.amplitude, 1 value of drive.sine.frequency");
  using Key = std::tuple<std::vector<double>, int, uint64_t>;
  const auto key = [](const PlannedRun& run) { return Key(run.axis_values, run.trial, run.seeds.positions()); };
  std::multiset<Key> all, whole;
  for (PlannedRun run : Expand(spec)) {
    for (const double value : ValuesOfOldRuns(spec, grown)) run.axis_values.push_back(value);
    all.insert(key(run));
  }
  for (const PlannedRun& run : AddedRuns(spec, grown)) all.insert(key(run));
  for (const PlannedRun& run : Expand(grown)) whole.insert(key(run));
  EXPECT_EQ(all, whole);
  EXPECT_EQ(whole.size(), 3u * 2 * 3);
}

TEST(GrowTest, ExistingValuesAddNothing) {
  const auto spec = AmplitudeStudy({4, 8}, 2);
  auto request = Adding(0);
  AddAxis(request, "drive.sine.amplitude", {8, 4});
  AddAxis(request, "drive.sine.frequency", {1});
  ASSERT_THAT(FaultsOf(spec, request), IsEmpty());
  EXPECT_THAT(AddedRuns(spec, Grown(spec, request)), IsEmpty());
}

TEST(GrowTest, ReportsEveryFaultWithRequestPaths) {
  const auto spec = AmplitudeStudy({4, 8}, 2);
  auto request = Adding(999);
  AddAxis(request, "drive.sine.frequency", {2, -1});
  AddAxis(request, "drive.sine.amplitude", {12, 12});
  AddAxis(request, "drive.sine.amplitud", {1});
  AddAxis(request, "bed.number_density", {0.5});
  EXPECT_THAT(
      FaultsOf(spec, request),
      ElementsAre(HasSubstr("add_trials: 999 trials cannot be added to 2; at least 0 and at most 998"),
                  HasSubstr("axes[3].field: bed.number_density has no value in this study"),
                  HasSubstr("axes[0].values[1]: -1 is too small"), HasSubstr("axes[1].values[1]: 12 is there twice"),
                  HasSubstr("axes[2].field: drive.sine.amplitud names no field; did you mean"),
                  HasSubstr("axes[3].field: bed.number_density belongs to a choice not taken")));
  EXPECT_THAT(FaultsOf(spec, Adding(0)), ElementsAre(HasSubstr("add_trials: is 0 and there are no axes; give")));
  EXPECT_THAT(FaultsOf(spec, Adding(-1)), ElementsAre(HasSubstr("add_trials: -1 trials")));
}

TEST(GrowTest, AFaultOfAPointIsReportedAtItsAxis) {
  const auto spec = AmplitudeStudy({4, 8}, 2);
  auto request = Adding(0);
  AddAxis(request, "drive.sine.amplitude", {12});
  AddAxis(request, "drive.sine.frequency", {900});
  EXPECT_THAT(FaultsOf(spec, request), ElementsAre(HasSubstr("axes[1]: drive.sine.frequency: ")));
}

TEST(GrowTest, MoreThanAStudyMayHaveIsRefused) {
  auto request = Adding(0);
  for (const char* field : {"drive.sine.frequency", "bed.bead_count", "bed.spinner_fraction", "friction.tangential"}) {
    AddAxis(request, field, {300});
  }
  EXPECT_THAT(FaultsOf(AmplitudeStudy({4}, 1), request), testing::Contains(HasSubstr("axes: 5 axes are too many")));
  std::vector<double> many(600);
  for (size_t i = 0; i < many.size(); ++i) many[i] = 1 + static_cast<double>(i);
  request = Adding(0);
  AddAxis(request, "drive.sine.frequency", many);
  EXPECT_THAT(FaultsOf(AmplitudeStudy(many, 1), request), testing::Contains(HasSubstr("runs, which is too many")));
}

TEST(PointOrderTest, FindsPointsAlsoWhereTheLastBitDiffers) {
  v1::StudySpec spec = AmplitudeStudy({16, 4, 8}, 1);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.frequency");
  axis.add_values(1);
  axis.add_values(2);
  const PointOrder order(spec);
  const auto points = Points(spec);
  for (size_t i = 0; i < points.size(); ++i) {
    auto values = points[i];
    EXPECT_EQ(order.Index(values), i);
    values[0] = std::nextafter(values[0], 100);
    values[1] = std::nextafter(values[1], 0);
    EXPECT_EQ(order.Index(values), i);
  }
  EXPECT_EQ(PointOrder(test::BareStudy()).Index({}), 0u);
}

TEST(PointOrderTest, AStudyAtFewerValuesKeepsItsOwn) {
  v1::StudySpec spec = AmplitudeStudy({4}, 1);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.frequency");
  axis.add_values(2);
  EXPECT_EQ(AtPoint(spec, {4}).drive().sine().frequency(), 1);
  EXPECT_EQ(AtPoint(spec, {4, 2}).drive().sine().frequency(), 2);
}

}  // namespace
}  // namespace gyrebox::study
