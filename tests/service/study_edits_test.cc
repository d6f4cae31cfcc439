// Notes, labels, lists, excluded runs, archives and deletions, as seen by clients.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>

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
using testing::IsEmpty;

constexpr char kName[] = "studies/1";

class StudyEditsTest : public testing::Test {
 protected:
  void RunOne(const v1::StudySpec& spec) {
    const auto study = client_.CreateStudy(spec);
    ASSERT_TRUE(study.ok()) << study.status();
    ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(study->name())->has_end_time(); }));
  }

  absl::StatusOr<v1::Study> Label(const std::string& study, const std::vector<std::string>& labels) {
    v1::UpdateStudyRequest request;
    request.mutable_study()->set_name(study);
    request.mutable_study()->mutable_labels()->Assign(labels.begin(), labels.end());
    request.mutable_update_mask()->add_paths("labels");
    return client_.UpdateStudy(request);
  }

  std::vector<std::string> Listed(const v1::ListStudiesRequest& request) {
    std::vector<std::string> names;
    const auto list = client_.ListStudies(request);
    EXPECT_TRUE(list.ok()) << list.status();
    for (const v1::Study& study : list->studies()) names.push_back(study.name());
    return names;
  }

  absl::StatusOr<v1::Run> Exclude(int run, const std::string& reason) {
    v1::ExcludeRunRequest request;
    request.set_name("studies/1/runs/" + std::to_string(run));
    request.set_reason(reason);
    return client_.ExcludeRun(request);
  }

  test::TestServer server_;
  client::Client client_{server_.address()};
};

v1::UpdateStudyRequest Noting(const std::string& text) {
  v1::UpdateStudyRequest request;
  request.mutable_study()->set_name(kName);
  request.mutable_study()->set_note(text);
  request.mutable_update_mask()->add_paths("note");
  return request;
}

std::vector<std::string> FaultsOf(const absl::Status& status) {
  EXPECT_TRUE(absl::IsInvalidArgument(status)) << status;
  std::vector<std::string> texts;
  for (const auto& fault : client::ViolationsOf(status)) texts.push_back(fault.field() + ": " + fault.description());
  return texts;
}

TEST_F(StudyEditsTest, NotesAndLabelsAreKeptOverARestart) {
  RunOne(AmplitudeStudy({4}, 1));
  ASSERT_EQ(client_.UpdateStudy(Noting("two lines\nof \xC3\xA9tude"))->note(), "two lines\nof \xC3\xA9tude");
  EXPECT_THAT(Label(kName, {"winter", "film-2", "a.b_c"})->labels(), ElementsAre("a.b_c", "film-2", "winter"));
  server_.Stop();
  server_.Start();
  client::Client later(server_.address());
  const auto study = later.GetStudy(kName);
  EXPECT_EQ(study->note(), "two lines\nof \xC3\xA9tude");
  EXPECT_THAT(study->labels(), ElementsAre("a.b_c", "film-2", "winter"));
  auto request = Noting("");
  request.mutable_update_mask()->add_paths("labels");
  EXPECT_THAT(later.UpdateStudy(request)->labels(), IsEmpty());
  EXPECT_EQ(later.GetStudy(kName)->note(), "");
}

TEST_F(StudyEditsTest, OnlyFieldsInTheMaskChange) {
  RunOne(AmplitudeStudy({4}, 1));
  ASSERT_TRUE(Label(kName, {"film"}).ok());
  EXPECT_THAT(client_.UpdateStudy(Noting("more"))->labels(), ElementsAre("film"));
  auto all = Noting("all");
  all.mutable_update_mask()->set_paths(0, "*");
  EXPECT_THAT(client_.UpdateStudy(all)->labels(), IsEmpty());
}

TEST_F(StudyEditsTest, EveryFaultNamesItsField) {
  RunOne(AmplitudeStudy({4}, 1));
  v1::UpdateStudyRequest request = Noting(std::string(10'001, 'x') + "\x07");
  for (const char* label : {"film", "two words", "", "film"}) request.mutable_study()->add_labels(label);
  request.mutable_update_mask()->add_paths("label");
  request.mutable_update_mask()->add_paths("labels");
  EXPECT_THAT(FaultsOf(client_.UpdateStudy(request).status()),
              ElementsAre(HasSubstr("update_mask.paths[1]: label cannot be changed; note and labels can; did you mean"),
                          "study.note: 10002 characters are too many; at most 10000",
                          HasSubstr("study.note: holds a control character"),
                          HasSubstr("study.labels[1]: is no label; give 1 to 40"), HasSubstr("study.labels[2]: is no"),
                          HasSubstr("study.labels[3]: film is there twice")));
  EXPECT_THAT(FaultsOf(Label(kName, std::vector<std::string>(21, "a")).status())[0],
              HasSubstr("study.labels: 21 labels are too many; at most 20"));
  EXPECT_THAT(FaultsOf(Label(kName, {std::string(41, 'a')}).status()), ElementsAre(HasSubstr("study.labels[0]")));
  request = Noting("x");
  request.clear_update_mask();
  EXPECT_THAT(FaultsOf(client_.UpdateStudy(request).status()), ElementsAre(HasSubstr("update_mask: is empty; give")));
  EXPECT_EQ(client_.GetStudy(kName)->note(), "");
  EXPECT_TRUE(client_.UpdateStudy(Noting(std::string(10'000, 'x'))).ok());
}

TEST_F(StudyEditsTest, AnOldEtagIsRefusedWithTheLaterEdits) {
  server_.plan().held = true;
  ASSERT_TRUE(client_.CreateStudy(AmplitudeStudy({4}, 1)).ok());
  v1::UpdateStudyRequest request = Noting("first");
  request.mutable_study()->set_etag(client_.GetStudy(kName)->etag());
  server_.plan().held = false;
  ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(kName)->has_end_time(); }));
  ASSERT_NE(client_.GetStudy(kName)->etag(), request.study().etag());
  ASSERT_TRUE(client_.UpdateStudy(request).ok());  // progress of its runs does not change the etag
  request.mutable_study()->set_note("second");
  ASSERT_TRUE(Exclude(1, "dust").ok());
  const auto refused = client_.UpdateStudy(request).status();
  EXPECT_TRUE(absl::IsAborted(refused)) << refused;
  EXPECT_THAT(std::string(refused.message()), HasSubstr("local changed its note; local left run 1 out: dust"));
  request.mutable_study()->set_etag("77-77");
  EXPECT_THAT(std::string(client_.UpdateStudy(request).status().message()), HasSubstr("none of this study"));
  EXPECT_EQ(client_.GetStudy(kName)->note(), "first");
}

TEST_F(StudyEditsTest, ListsFilterByOwnerOrLabelPageByPage) {
  for (int i = 0; i < 5; ++i) RunOne(AmplitudeStudy({4}, 1));
  for (const int study : {1, 2, 4, 5}) ASSERT_TRUE(Label("studies/" + std::to_string(study), {"film", "x"}).ok());
  ASSERT_TRUE(client_.ArchiveStudy("studies/4", false).ok());
  v1::ListStudiesRequest request;
  EXPECT_THAT(Listed(request), ElementsAre("studies/5", "studies/3", "studies/2", "studies/1"));
  request.set_label("film");
  EXPECT_THAT(Listed(request), ElementsAre("studies/5", "studies/2", "studies/1"));
  request.set_with_archived(true);
  EXPECT_THAT(Listed(request), ElementsAre("studies/5", "studies/4", "studies/2", "studies/1"));
  request.set_owner("local");
  EXPECT_EQ(Listed(request).size(), 4u);
  request.set_owner("max");
  EXPECT_THAT(Listed(request), IsEmpty());

  const auto stub = v1::StudyService::NewStub(server_.Connect());
  std::vector<std::string> names;
  v1::ListStudiesRequest page;
  page.set_label("film");
  page.set_page_size(2);
  v1::ListStudiesResponse response;
  do {
    grpc::ClientContext context;
    ASSERT_TRUE(stub->ListStudies(&context, page, &response).ok());
    for (const v1::Study& study : response.studies()) names.push_back(study.name());
    page.set_page_token(response.next_page_token());
  } while (!response.next_page_token().empty());
  EXPECT_THAT(names, ElementsAre("studies/5", "studies/2", "studies/1"));

  // A page token of one list is not valid for another.
  page.clear_page_token();
  grpc::ClientContext first, second;
  ASSERT_TRUE(stub->ListStudies(&first, page, &response).ok());
  page.set_page_token(response.next_page_token());
  page.clear_label();
  EXPECT_EQ(stub->ListStudies(&second, page, &response).error_code(), grpc::StatusCode::INVALID_ARGUMENT);
}

TEST_F(StudyEditsTest, AnExcludedRunIsShownAndCountsInNothing) {
  RunOne(AmplitudeStudy({4, 8}, 3));
  const auto before = client_.TabulateStudy(kName, "");
  ASSERT_TRUE(client_.AnalyseStudy(kName, {}).ok());  // cached results must not bring the run back
  const auto run = Exclude(2, "dust in the cell");
  ASSERT_TRUE(run.ok()) << run.status();
  EXPECT_EQ(run->exclusion().user(), "local");
  EXPECT_EQ(run->exclusion().reason(), "dust in the cell");
  EXPECT_GT(run->exclusion().create_time().seconds(), 1'500'000'000);
  EXPECT_EQ(run->state(), v1::Run::STATE_FINISHED);
  ASSERT_TRUE(Exclude(3, "dust in the cell").ok());
  ASSERT_TRUE(Exclude(6, "stirred").ok());
  EXPECT_EQ(client_.GetStudy(kName)->run_counts().excluded_count(), 3);
  const auto table = client_.TabulateStudy(kName, "");
  EXPECT_EQ(table->rows(0).trial_count(), 1);
  EXPECT_EQ(table->rows(0).excluded_count(), 2);
  EXPECT_NE(table->rows(0).mean(), before->rows(0).mean());
  EXPECT_EQ(table->rows(1).excluded_count(), 1);
  const auto answers = client_.AnalyseStudy(kName, {});
  ASSERT_EQ(answers->answers(0).left_out_size(), 2);
  EXPECT_EQ(answers->answers(0).left_out(0).reason(), "excluded by local: dust in the cell");
  EXPECT_THAT(answers->answers(0).left_out(0).runs(), ElementsAre("studies/1/runs/2", "studies/1/runs/3"));
  EXPECT_EQ(answers->answers(0).left_out(1).reason(), "excluded by local: stirred");
  v1::ExcludeRunRequest undo;
  undo.set_undo(true);
  for (const int number : {2, 3, 6}) {
    undo.set_name("studies/1/runs/" + std::to_string(number));
    ASSERT_FALSE(client_.ExcludeRun(undo)->has_exclusion());
  }
  EXPECT_EQ(client_.TabulateStudy(kName, "")->SerializeAsString(), before->SerializeAsString());
  EXPECT_TRUE(absl::IsFailedPrecondition(client_.ExcludeRun(undo).status()));
}

TEST_F(StudyEditsTest, ARunIsExcludedFromAnyStateWithAReason) {
  server_.plan().unstable_above = 5;
  RunOne(AmplitudeStudy({4, 8}, 1));
  ASSERT_TRUE(Exclude(2, "too strong anyway").ok());
  const auto row = client_.TabulateStudy(kName, "")->rows(1);
  EXPECT_EQ(row.unstable_count(), 0);
  EXPECT_EQ(row.excluded_count(), 1);
  EXPECT_THAT(FaultsOf(Exclude(1, "").status()), ElementsAre(HasSubstr("reason: is missing; say in one line why")));
  EXPECT_THAT(FaultsOf(Exclude(1, "two\nlines").status()), ElementsAre(HasSubstr("reason: holds a control")));
  EXPECT_THAT(FaultsOf(Exclude(1, std::string(201, 'x')).status()), ElementsAre(HasSubstr("at most 200")));
  EXPECT_TRUE(absl::IsNotFound(Exclude(9, "why").status()));
  server_.Stop();
  server_.Start();
  EXPECT_EQ(client::Client(server_.address()).GetRun("studies/1/runs/2")->exclusion().reason(), "too strong anyway");
}

TEST_F(StudyEditsTest, AnArchivedStudyIsRestoredByHandOrByGrowing) {
  RunOne(AmplitudeStudy({4}, 1));
  EXPECT_TRUE(client_.ArchiveStudy(kName, false)->archived());
  EXPECT_TRUE(client_.ArchiveStudy(kName, false)->archived());
  EXPECT_THAT(Listed({}), IsEmpty());
  EXPECT_TRUE(client_.GetStudy(kName)->archived());
  EXPECT_FALSE(client_.ArchiveStudy(kName, true)->archived());
  ASSERT_TRUE(client_.ArchiveStudy(kName, false).ok());
  v1::GrowStudyRequest request;
  request.set_name(kName);
  request.set_add_trials(1);
  EXPECT_FALSE(client_.GrowStudy(request)->archived());
  ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(kName)->has_end_time(); }));
  ASSERT_TRUE(client_.ArchiveStudy(kName, false).ok());
  ASSERT_TRUE(client_.ExtendRun("studies/1/runs/1", 1).ok());
  EXPECT_FALSE(client_.GetStudy(kName)->archived());
}

TEST_F(StudyEditsTest, ADeletedStudyIsGoneWithItsFiles) {
  RunOne(AmplitudeStudy({4}, 2));
  RunOne(AmplitudeStudy({4}, 1));
  const std::string stale = client_.GetStudy(kName)->etag();
  ASSERT_TRUE(client_.AnalyseStudy(kName, {}).ok());
  ASSERT_TRUE(client_.UpdateStudy(Noting("x")).ok());
  EXPECT_TRUE(absl::IsAborted(client_.DeleteStudy(kName, stale)));
  ASSERT_TRUE(client_.DeleteStudy(kName, client_.GetStudy(kName)->etag()).ok());
  EXPECT_TRUE(absl::IsNotFound(client_.GetStudy(kName).status()));
  EXPECT_TRUE(absl::IsNotFound(client_.GetRun("studies/1/runs/1").status()));
  EXPECT_TRUE(absl::IsNotFound(client_.AnalyseStudy(kName, {}).status()));
  EXPECT_TRUE(absl::IsNotFound(client_.ExtendRun("studies/1/runs/1", 1).status()));
  EXPECT_TRUE(absl::IsNotFound(client_.DeleteStudy(kName)));
  EXPECT_THAT(Listed({}), ElementsAre("studies/2"));
  const std::string states = server_.data() + "/states/";
  EXPECT_TRUE(WaitFor([&] { return !std::filesystem::exists(states + "1-2-4000.end"); }));
  EXPECT_TRUE(std::filesystem::exists(states + "2-1-4000.end"));
}

TEST_F(StudyEditsTest, ASourceStudyIsDeletedAtOnceAndTheOtherContinues) {
  RunOne(AmplitudeStudy({4}, 1));
  v1::StudySpec branch = test::BareStudy();
  branch.clear_bed();
  branch.mutable_start()->mutable_saved()->set_run("studies/1/runs/1");
  RunOne(branch);
  ASSERT_TRUE(client_.DeleteStudy(kName).ok());
  EXPECT_TRUE(absl::IsNotFound(client_.GetStudy(kName).status()));
  v1::GrowStudyRequest request;  // it has its own copy of the state
  request.set_name("studies/2");
  request.set_add_trials(1);
  ASSERT_TRUE(client_.GrowStudy(request).ok());
  ASSERT_TRUE(WaitFor([&] { return client_.GetStudy("studies/2")->has_end_time(); }));
  EXPECT_EQ(client_.GetStudy("studies/2")->run_counts().finished_count(), 2);
}

TEST_F(StudyEditsTest, ARunningStudyIsNotDeleted) {
  server_.plan().held = true;
  ASSERT_TRUE(client_.CreateStudy(AmplitudeStudy({4}, 1)).ok());
  const auto refused = client_.DeleteStudy(kName);
  EXPECT_TRUE(absl::IsFailedPrecondition(refused)) << refused;
  EXPECT_THAT(std::string(refused.message()), HasSubstr("not at their end; cancel it first"));
  server_.plan().held = false;
  ASSERT_TRUE(WaitFor([&] { return client_.GetStudy(kName)->has_end_time(); }));
  ASSERT_TRUE(client_.DeleteStudy(kName).ok());
  v1::WatchRunsRequest request;
  request.set_parent(kName);
  EXPECT_TRUE(absl::IsNotFound(client_.WatchRuns(request, std::chrono::seconds(1), [](const auto&) {})));
}

}  // namespace
}  // namespace gyrebox
