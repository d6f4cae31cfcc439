// Limits on the work of one call and on the size of one response.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <set>

#include "answers/answer_pages.h"
#include "api/kept_pages.h"
#include "api/page.h"
#include "error_details.h"
#include "example_studies.h"
#include "gyrebox/v1/run_service.grpc.pb.h"
#include "gyrebox/v1/study_service.grpc.pb.h"
#include "lib/client.h"
#include "lib/join_pages.h"
#include "study/defaults.h"
#include "study/grow.h"
#include "study/validation/check_size.h"
#include "study/validation/validate.h"
#include "test_server.h"
#include "wait_for.h"

namespace gyrebox {
namespace {

using test::AmplitudeStudy;
using test::BareStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr size_t kMebibyte = 1 << 20;

/// A study with this many points, and this many stages of one change each.
v1::StudySpec Large(int points, int stages) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_drive()->mutable_sine()->clear_amplitude();
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_linear()->set_first(1);
  axis.mutable_linear()->set_last(50);
  axis.mutable_linear()->set_count(points);
  if (stages > 0) spec.mutable_schedule()->clear_duration();
  for (int i = 0; i < stages; ++i) {
    v1::Stage& stage = *spec.mutable_schedule()->add_stages();
    stage.set_duration(1);
    stage.mutable_step()->set_temperature(0.01);
  }
  return spec;
}

std::vector<std::string> SizeFaults(const v1::StudySpec& spec) {
  study::Violations violations;
  study::CheckSize(spec, &violations);
  std::vector<std::string> faults;
  for (const auto& fault : std::move(violations).Take()) faults.push_back(fault.field() + ": " + fault.description());
  return faults;
}

// ---- work

TEST(WorkTest, IsBoundedAsAProduct) {
  EXPECT_THAT(SizeFaults(Large(1000, 0)), IsEmpty());
  EXPECT_THAT(SizeFaults(Large(2, 1000)), IsEmpty());
  EXPECT_THAT(SizeFaults(Large(1000, 1000)),
              ElementsAre(AllOf(HasSubstr("axes: 1000 points, each of 1000 stages with 1000 changes in all"),
                                HasSubstr("is 2.001e6; at most 1e6"), HasSubstr("fewer schedule.stages"))));
}

TEST(WorkTest, CountsAdjustments) {
  v1::StudySpec spec = Large(1000, 0);
  for (int i = 0; i < 2000; ++i) spec.mutable_schedule()->mutable_steering()->add_adjustments();
  EXPECT_THAT(SizeFaults(spec), ElementsAre(HasSubstr("0 stages with 2000 changes")));
}

TEST(WorkTest, IsCheckedBeforeAnythingElse) {
  v1::StudySpec spec = Large(1000, 1000);
  spec.mutable_bed()->set_packing_fraction(7);
  study::FillDefaults(&spec);
  const auto faults = study::Validate(spec);
  ASSERT_EQ(faults.size(), 1u);
  EXPECT_EQ(faults[0].field(), "axes");
}

TEST(WorkTest, OfNonNumericAxesIsBoundedToo) {
  v1::StudySpec spec = BareStudy();
  for (int i = 0; i < 50'000; ++i) spec.add_axes()->set_field("x");
  EXPECT_THAT(SizeFaults(spec), ElementsAre("axes: 50000 axes are too many; at most 4"));
  v1::GrowStudyRequest request;
  for (int i = 0; i < 50'000; ++i) request.add_axes()->set_field("x");
  EXPECT_EQ(study::CheckGrowth(AmplitudeStudy({1}, 1), request).back().field(), "axes");
}

TEST(WorkTest, NoMoreFaultsAreCollectedThanReported) {
  v1::StudySpec spec = Large(1, 1000);
  spec.clear_axes();
  for (v1::Stage& stage : *spec.mutable_schedule()->mutable_stages()) {
    stage.clear_duration();
    stage.mutable_ramp()->mutable_sine();
    stage.mutable_step()->set_depth(1);
  }
  study::FillDefaults(&spec);
  EXPECT_EQ(study::Validate(spec).size(), study::Violations::kCapacity);
}

TEST(WorkTest, FaultsOfLaterPointsAreFound) {
  // Each of these is invalid at the second point only.
  const std::pair<const char*, std::vector<double>> kAxes[] = {
      {"drive.sine.frequency", {1, 300}}, {"schedule.duration", {1, 1e-5}},      {"dynamics.time_step", {5e-4, 0.1}},
      {"measure.interval", {0.1, 1e-5}},  {"bed.spinner_fraction", {0.1, 1e-3}}, {"bed.bead_count", {100, 1}}};
  for (const auto& [field, values] : kAxes) {
    v1::StudySpec spec = BareStudy();
    v1::Axis& axis = *spec.add_axes();
    axis.set_field(field);
    axis.mutable_values()->Assign(values.begin(), values.end());
    if (axis.field() == "drive.sine.frequency") spec.mutable_dynamics()->set_time_step(5e-4);
    if (axis.field() == "schedule.duration") spec.mutable_schedule()->clear_duration();
    if (axis.field() == "bed.bead_count") spec.mutable_bed()->clear_bead_count();
    study::FillDefaults(&spec);
    EXPECT_FALSE(study::Validate(spec).empty()) << field;
    spec.mutable_axes(0)->mutable_values()->RemoveLast();
    EXPECT_TRUE(study::Validate(spec).empty()) << field;
  }
}

// ---- pages

TEST(PageTest, IsBoundedByCountAndByBytes) {
  std::vector<v1::Run> runs(10);
  for (v1::Run& run : runs) run.set_warning(std::string(kMebibyte / 3, 'a'));
  v1::ListRunsResponse page;
  auto copy = runs;
  EXPECT_EQ(api::FillPage(&copy, 10, page.mutable_runs()), 2);
  EXPECT_LE(page.ByteSizeLong(), kMebibyte);
  page.Clear();
  copy = runs;
  EXPECT_EQ(api::FillPage(&copy, 1, page.mutable_runs()), 1);
  page.Clear();
  runs[0].set_warning(std::string(2 * kMebibyte, 'a'));
  EXPECT_EQ(api::FillPage(&runs, 10, page.mutable_runs()), 1);  // otherwise nobody could read on
}

v1::Answers MadeUpAnswers() {
  v1::Answers answers;
  answers.set_study("studies/1");
  answers.set_title("a title");
  answers.add_snapshots()->set_run("studies/1/runs/1");
  for (const auto topic : {v1::Answer::TOPIC_MAP, v1::Answer::TOPIC_SHAPE, v1::Answer::TOPIC_PLATEAUS}) {
    v1::Answer& answer = *answers.add_answers();
    answer.set_topic(topic);
    answer.set_summary("a summary");
    for (int i = 0; i < 20; ++i) answer.add_quantities()->set_definition(std::string(100, 'q'));
    for (const char* name : {"one", "two"}) {
      v1::Plot& plot = *answer.add_plots();
      plot.set_name(std::string(name) + std::to_string(topic));
      plot.add_columns()->set_name("x");
      for (int i = 0; i < 50; ++i) plot.add_rows()->add_values(i);
    }
  }
  return answers;
}

TEST(PageTest, AnswersAreSplitAndRejoined) {
  const v1::Answers whole = MadeUpAnswers();
  for (const size_t most : {400u, 1000u, 5000u, 1'000'000u}) {
    auto pages = analysis::CutIntoPages(whole, most);
    EXPECT_EQ(pages.size() == 1, most > whole.ByteSizeLong()) << most;
    EXPECT_FALSE(pages[0].snapshots().empty());
    v1::Answers joined;
    for (v1::Answers& page : pages) {
      EXPECT_LE(page.ByteSizeLong(), most);
      EXPECT_EQ(page.study(), "studies/1");
      client::JoinPage(page, &joined);
    }
    EXPECT_EQ(joined.SerializeAsString(), whole.SerializeAsString()) << most;
  }
}

TEST(PageTest, StoredPagesAreReturnedToTheirListOnly) {
  api::KeptPages kept;
  const v1::Answers first = kept.Start("a", analysis::CutIntoPages(MadeUpAnswers(), 3000));
  EXPECT_EQ(kept.GoOn<v1::Answers>("b", first.next_page_token()).status().code(), absl::StatusCode::kInvalidArgument);
  int pages = 1;
  for (std::string token = first.next_page_token(); !token.empty(); ++pages) {
    const auto page = kept.GoOn<v1::Answers>("a", token);
    ASSERT_TRUE(page.ok()) << page.status();
    token = page->next_page_token();
  }
  EXPECT_EQ(pages, static_cast<int>(analysis::CutIntoPages(MadeUpAnswers(), 3000).size()));
}

TEST(PageTest, StoredPagesAreEvictedForNewOnes) {
  api::KeptPages kept;
  const auto pages = analysis::CutIntoPages(MadeUpAnswers(), 3000);
  const v1::Answers first = kept.Start("a", pages);
  for (size_t i = 0; i < api::KeptPages::kMaxAnswers; ++i) kept.Start("b", pages);
  const auto gone = kept.GoOn<v1::Answers>("a", first.next_page_token());
  EXPECT_EQ(gone.status().code(), absl::StatusCode::kAborted);
  EXPECT_EQ(test::DetailsOf(api::ToGrpcStatus(gone.status())).info.reason(), "PAGES_EXPIRED");
}

// ---- over the wire

class BoundsTest : public testing::Test {
 protected:
  template <class Request, class Response, class Stub>
  grpc::Status Call(Stub& stub, grpc::Status (Stub::*method)(grpc::ClientContext*, const Request&, Response*),
                    const Request& request, Response* response) {
    grpc::ClientContext context;
    context.set_deadline(std::chrono::system_clock::now() + std::chrono::seconds(60));
    return (stub.*method)(&context, request, response);
  }

  grpc::Status Create(const v1::StudySpec& spec) {
    v1::CreateStudyRequest request;
    *request.mutable_spec() = spec;
    v1::Study study;
    return Call(*studies_, &v1::StudyService::Stub::CreateStudy, request, &study);
  }

  v1::ListStudiesResponse List(const v1::ListStudiesRequest& request) {
    v1::ListStudiesResponse page;
    const auto status = Call(*studies_, &v1::StudyService::Stub::ListStudies, request, &page);
    EXPECT_TRUE(status.ok()) << status.error_message();
    return page;
  }

  void WaitForEnd(const std::string& study) {
    ASSERT_TRUE(test::WaitFor([&] { return client_.GetStudy(study)->has_end_time(); })) << study;
  }

  test::TestServer server_;
  client::Client client_{server_.address()};
  std::unique_ptr<v1::StudyService::Stub> studies_ = v1::StudyService::NewStub(server_.Connect());
  std::unique_ptr<v1::RunService::Stub> runs_ = v1::RunService::NewStub(server_.Connect());
};

TEST_F(BoundsTest, AStudyOfTooMuchWorkIsRefused) {
  EXPECT_THAT(client_.CheckStudy(Large(1000, 1000))->field_violations(0).description(), HasSubstr("are too much"));
  EXPECT_EQ(Create(Large(1000, 1000)).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  ASSERT_TRUE(Create(Large(2, 1000)).ok());
  v1::GrowStudyRequest request;
  request.set_name("studies/1");
  v1::Axis& axis = *request.add_axes();
  axis.set_field("thermal.temperature");
  for (int i = 1; i <= 900; ++i) axis.add_values(1e-4 * i);
  EXPECT_THAT(client_.GrowStudy(request).status().ToString(), HasSubstr("are too much"));
}

TEST_F(BoundsTest, ClientsCannotSetAdjustmentsInAStudy) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_schedule()->mutable_steering()->set_total_steps(100);
  const auto checked = client_.CheckStudy(spec);
  ASSERT_EQ(checked->field_violations_size(), 1);
  EXPECT_EQ(checked->field_violations(0).field(), "schedule.steering");
  EXPECT_THAT(checked->field_violations(0).description(), HasSubstr("is made of a run's journal; leave it out"));
  EXPECT_EQ(Create(spec).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  // A study as returned by the server may be submitted again.
  EXPECT_TRUE(Create(client_.CheckStudy(BareStudy())->spec()).ok());
}

TEST_F(BoundsTest, AStudyOfTooManyBytesIsRefused) {
  v1::StudySpec spec = AmplitudeStudy({1}, 1);
  for (int i = 0; i < 40'000; ++i) spec.mutable_axes(0)->add_values(i);
  const auto details = test::DetailsOf(Create(spec));
  ASSERT_EQ(details.request.field_violations_size(), 1);
  EXPECT_EQ(details.request.field_violations(0).field(), "spec");
  EXPECT_THAT(details.request.field_violations(0).description(), HasSubstr("at most 262144"));
}

TEST_F(BoundsTest, UnknownFieldsOfAStudyAreRefused) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_drive()->GetReflection()->MutableUnknownFields(spec.mutable_drive())->AddVarint(4711, 1);
  const auto details = test::DetailsOf(Create(spec));
  ASSERT_EQ(details.request.field_violations_size(), 1);
  EXPECT_EQ(details.request.field_violations(0).field(), "spec.drive");
  EXPECT_THAT(details.request.field_violations(0).description(), HasSubstr("4711"));
  EXPECT_EQ(client_.CheckStudy(spec).status().code(), absl::StatusCode::kInvalidArgument);
  v1::GrowStudyRequest grow;
  grow.set_name("studies/1");
  grow.GetReflection()->MutableUnknownFields(&grow)->AddLengthDelimited(99, "x");
  EXPECT_THAT(client_.GrowStudy(grow).status().ToString(), HasSubstr("GrowStudyRequest"));
  // Calls that neither run nor change anything ignore unknown fields.
  v1::ListStudiesRequest list;
  list.GetReflection()->MutableUnknownFields(&list)->AddVarint(4711, 1);
  EXPECT_TRUE(List(list).studies().empty());
}

TEST_F(BoundsTest, AListHoldsTitlesOnlyByDefault) {
  v1::StudySpec spec = BareStudy();
  spec.set_title("a title");
  ASSERT_TRUE(Create(spec).ok());
  v1::StudySpec title;
  title.set_title("a title");
  EXPECT_EQ(List({}).studies(0).spec().SerializeAsString(), title.SerializeAsString());
  v1::ListStudiesRequest request;
  request.set_view(v1::STUDY_VIEW_FULL);
  EXPECT_EQ(List(request).studies(0).spec().bed().bead_count(), 100);
  request.set_view(static_cast<v1::StudyView>(7));
  v1::ListStudiesResponse page;
  EXPECT_EQ(Call(*studies_, &v1::StudyService::Stub::ListStudies, request, &page).error_code(),
            grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(BoundsTest, APageOfStudiesHasAMebibyteAtMost) {
  v1::StudySpec spec = Large(2, 1000);
  for (v1::Stage& stage : *spec.mutable_schedule()->mutable_stages()) {
    stage.set_label(std::string(40, 'x'));
    for (v1::RunSettings* change : {stage.mutable_step(), stage.mutable_ramp()}) {
      change->set_temperature(0.01);
      change->set_friction_normal(1);
      change->set_friction_tangential(1);
      change->set_jitter(0.1);
      change->set_phase_spread(0.1);
    }
  }
  ASSERT_GT(spec.ByteSizeLong(), kMebibyte / 8);
  constexpr int kStudies = 20;
  for (int i = 0; i < kStudies; ++i) ASSERT_TRUE(Create(spec).ok());
  v1::ListStudiesRequest request;
  request.set_view(v1::STUDY_VIEW_FULL);
  std::set<std::string> names;
  int pages = 0;
  do {
    const auto page = List(request);
    EXPECT_LE(page.ByteSizeLong(), kMebibyte);
    for (const v1::Study& study : page.studies()) EXPECT_TRUE(names.insert(study.name()).second) << study.name();
    request.set_page_token(page.next_page_token());
    ++pages;
  } while (!request.page_token().empty());
  EXPECT_GT(pages, 2);
  EXPECT_EQ(names.size(), static_cast<size_t>(kStudies));
  EXPECT_EQ(client_.ListStudies(request)->studies_size(), kStudies);
}

TEST_F(BoundsTest, APageTokenBelongsToItsListAndFilter) {
  for (int i = 0; i < 3; ++i) ASSERT_TRUE(Create(BareStudy()).ok());
  v1::ListStudiesRequest request;
  request.set_page_size(1);
  const std::string token = List(request).next_page_token();
  ASSERT_FALSE(token.empty());
  request.set_page_token(token);
  EXPECT_EQ(List(request).studies(0).name(), "studies/2");
  for (const auto& change : std::vector<std::function<void(v1::ListStudiesRequest*)>>{
           [](auto* r) { r->set_owner("somebody"); }, [](auto* r) { r->set_label("x"); },
           [](auto* r) { r->set_with_archived(true); }, [](auto* r) { r->set_view(v1::STUDY_VIEW_FULL); }}) {
    v1::ListStudiesRequest other = request;
    change(&other);
    v1::ListStudiesResponse page;
    EXPECT_EQ(Call(*studies_, &v1::StudyService::Stub::ListStudies, other, &page).error_code(),
              grpc::StatusCode::INVALID_ARGUMENT);
  }
  v1::ListRunsRequest runs;
  runs.set_parent("studies/1");
  runs.set_page_token(token);
  v1::ListRunsResponse page;
  EXPECT_EQ(Call(*runs_, &v1::RunService::Stub::ListRuns, runs, &page).error_code(),
            grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(BoundsTest, TablesComeInPages) {
  ASSERT_TRUE(Create(AmplitudeStudy({1, 2, 3, 4, 5}, 2)).ok());
  WaitForEnd("studies/1");
  v1::TabulateStudyRequest request;
  request.set_name("studies/1");
  v1::StudyTable whole, page;
  ASSERT_TRUE(Call(*studies_, &v1::StudyService::Stub::TabulateStudy, request, &whole).ok());
  ASSERT_EQ(whole.rows_size(), 5);
  request.set_page_size(2);
  v1::StudyTable joined = whole;
  joined.clear_rows();
  int pages = 0;
  do {
    ASSERT_TRUE(Call(*studies_, &v1::StudyService::Stub::TabulateStudy, request, &page).ok());
    EXPECT_LE(page.rows_size(), 2);
    EXPECT_EQ(page.method(), whole.method());
    joined.mutable_rows()->MergeFrom(page.rows());
    request.set_page_token(page.next_page_token());
    ++pages;
  } while (!request.page_token().empty());
  EXPECT_EQ(pages, 3);
  EXPECT_EQ(joined.SerializeAsString(), whole.SerializeAsString());
}

TEST_F(BoundsTest, TheResponseToAnAdjustmentCountsRuns) {
  server_.plan().held = true;
  ASSERT_TRUE(Create(AmplitudeStudy({1, 2, 3}, 50)).ok());
  v1::AdjustRunsRequest request;
  request.set_name("studies/1");
  v1::FieldChange& change = *request.add_changes();
  change.set_field("thermal.temperature");
  change.set_value(0.01);
  server_.plan().held = false;
  server_.plan().step_nanoseconds = 3'000'000;
  const auto adjusted = client_.AdjustRuns(request);
  ASSERT_TRUE(adjusted.ok()) << adjusted.status();
  EXPECT_EQ(adjusted->run_count(), 150);
  EXPECT_EQ(adjusted->adjustments_size(), 100);
  EXPECT_EQ(client_.ListAdjustments("studies/1/runs/150")->adjustments_size(), 1);
}

TEST_F(BoundsTest, JournalsAndStatesComeInPages) {
  server_.plan().step_nanoseconds = 1'000'000;
  ASSERT_TRUE(Create(BareStudy()).ok());
  const std::string run = "studies/1/runs/1";
  ASSERT_TRUE(test::WaitFor([&] { return client_.GetRun(run)->step() > 0; }));
  for (int i = 0; i < 3; ++i) {
    ASSERT_TRUE(client_.PauseRun(run).ok());
    ASSERT_TRUE(client_.SaveRun(run).ok());
    ASSERT_TRUE(client_.ResumeRun(run).ok());
    const int64_t step = client_.GetRun(run)->step();
    ASSERT_TRUE(test::WaitFor([&] { return client_.GetRun(run)->step() > step; }));
  }
  v1::ListAdjustmentsRequest journal;
  journal.set_parent(run);
  journal.set_page_size(4);
  v1::ListAdjustmentsResponse entries;
  ASSERT_TRUE(Call(*runs_, &v1::RunService::Stub::ListAdjustments, journal, &entries).ok());
  EXPECT_EQ(entries.adjustments_size(), 4);
  journal.set_page_token(entries.next_page_token());
  ASSERT_TRUE(Call(*runs_, &v1::RunService::Stub::ListAdjustments, journal, &entries).ok());
  ASSERT_EQ(entries.adjustments_size(), 2);
  EXPECT_EQ(entries.adjustments(0).name(), run + "/adjustments/5");
  EXPECT_TRUE(entries.next_page_token().empty());
  v1::ListSavedStatesRequest saved;
  saved.set_parent(run);
  saved.set_page_size(1);
  v1::ListSavedStatesResponse states;
  ASSERT_TRUE(Call(*runs_, &v1::RunService::Stub::ListSavedStates, saved, &states).ok());
  EXPECT_EQ(states.states_size(), 1);
  EXPECT_FALSE(states.next_page_token().empty());
  EXPECT_EQ(client_.ListSavedStates(run)->states_size(), 3);
}

TEST_F(BoundsTest, AStreamStartsWhereRunsAre) {
  ASSERT_TRUE(Create(AmplitudeStudy({1}, 2)).ok());
  WaitForEnd("studies/1");
  const auto watch = [&](const std::map<int32_t, int64_t>& starts, const std::vector<int32_t>& runs) {
    v1::WatchRunsRequest request;
    request.set_parent("studies/1");
    request.set_with_samples(true);
    request.mutable_start_sequences()->insert(starts.begin(), starts.end());
    request.mutable_runs()->Assign(runs.begin(), runs.end());
    grpc::ClientContext context;
    const auto reader = runs_->WatchRuns(&context, request);
    std::vector<std::pair<std::string, int64_t>> first;
    for (v1::WatchRunsResponse message; reader->Read(&message);) {
      if (message.has_samples()) first.emplace_back(message.samples().run(), message.samples().samples(0).sequence());
    }
    return std::pair(reader->Finish(), first);
  };
  for (const std::map<int32_t, int64_t>& starts :
       std::vector<std::map<int32_t, int64_t>>{{{1, -5}}, {{3, 0}}, {{0, 0}}, {{-7, 3}}, {{2'000'000'000, 1}}}) {
    const auto [status, first] = watch(starts, {});
    EXPECT_EQ(status.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
    EXPECT_FALSE(test::DetailsOf(status).info.reason().empty());
  }
  EXPECT_EQ(watch({}, {3}).first.error_code(), grpc::StatusCode::INVALID_ARGUMENT);
  const auto [status, first] = watch({{2, 5}}, {2, 2, 1, 2});
  EXPECT_TRUE(status.ok()) << status.error_message();
  EXPECT_THAT(first, testing::UnorderedElementsAre(std::pair("studies/1/runs/1", 0), std::pair("studies/1/runs/2", 5)));
}

}  // namespace
}  // namespace gyrebox
