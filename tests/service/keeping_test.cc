// Retention: what a machine keeps, what it deletes, and when. The tests supply the times.
#include <gmock/gmock.h>
#include <google/protobuf/util/time_util.h>
#include <gtest/gtest.h>

#include <filesystem>

#include "example_studies.h"
#include "retention/retention_worker.h"
#include "store/database.h"
#include "temporary_directory.h"

namespace gyrebox::retention {
namespace {

using google::protobuf::util::TimeUtil;
using test::AmplitudeStudy;
using test::NewRuns;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr int64_t kDay = 86'400'000;  // milliseconds
constexpr double kDaySeconds = 86'400;
constexpr int64_t kGibibyte = 1 << 30;

store::Deletable Ended(int64_t study, int64_t end_time, int64_t bytes = 0) {
  return {.study = study, .owner = "anna", .end_time = end_time, .bytes = bytes};
}

std::vector<int64_t> NumbersOf(const std::vector<Due>& due) {
  std::vector<int64_t> numbers;
  for (const Due& one : due) numbers.push_back(one.study.study);
  return numbers;
}

TEST(RetentionRulesTest, WithoutRulesEverythingStays) {
  EXPECT_THAT(WhatIsDue({{Ended(1, 0, kGibibyte)}, 1000 * kGibibyte}, {}, 10'000 * kDay), IsEmpty());
}

TEST(RetentionRulesTest, TooOldStudiesAreDue) {
  const store::DeletableStudies there{{Ended(1, 0), Ended(2, 9 * kDay), Ended(3, 10 * kDay)}, 0};
  const auto due = WhatIsDue(there, {.keep_days = 30}, 39 * kDay + 1);
  EXPECT_THAT(NumbersOf(due), ElementsAre(1, 2));
  EXPECT_THAT(due[0].reason, HasSubstr("30 days"));
}

TEST(RetentionRulesTest, WhenSpaceIsShortTheEarliestEndedAreDueUntilTheRestFits) {
  // In the order in which they ended, whatever the clock said.
  const store::DeletableStudies there{
      {Ended(7, 50 * kDay, kGibibyte), Ended(2, 3 * kDay, kGibibyte), Ended(9, 60 * kDay, kGibibyte)}, 10 * kGibibyte};
  EXPECT_THAT(NumbersOf(WhatIsDue(there, {.keep_gib = 8.5}, 60 * kDay)), ElementsAre(7, 2));
  EXPECT_THAT(NumbersOf(WhatIsDue(there, {.keep_gib = 10}, 60 * kDay)), IsEmpty());
  EXPECT_THAT(WhatIsDue(there, {.keep_gib = 9.5}, 60 * kDay)[0].reason, HasSubstr("9.5 GiB"));
}

class KeepingTest : public testing::Test {
 protected:
  KeepingTest() { Open(); }

  void Open() {
    store_ = nullptr;
    auto opened = store::Store::Open(directory_.path());
    ASSERT_TRUE(opened.ok()) << opened.status();
    store_ = *std::move(opened);
  }

  /// A study of two finished runs with samples, a journal, frames and states. @param source of its initial state.
  int64_t Finished(const std::string& source = "") {
    v1::StudySpec spec = AmplitudeStudy({4}, 2);
    if (!source.empty()) spec.mutable_start()->mutable_saved()->set_run(source);
    const auto study = store_->studies().Create(spec, NewRuns(spec), "", "anna");
    EXPECT_TRUE(study.ok()) << study.status();
    const int64_t id = std::stoll(study->name().substr(8));
    const std::vector<int64_t> numbers = {1, 2};
    EXPECT_TRUE(store_->queue().Start(id, numbers, "cpu").ok());
    const std::vector<std::vector<v1::Observable>> observables(2, std::vector<v1::Observable>(1));
    EXPECT_TRUE(store_->series().SetObservables(id, numbers, observables).ok());
    std::vector<store::RunUpdate> updates(2);
    for (int64_t number : numbers) {
      store::RunUpdate& update = updates[static_cast<size_t>(number - 1)];
      update.number = number;
      update.state = v1::Run::STATE_FINISHED;
      update.step = 4000;
      update.time = 2;
      update.samples = {.first = 0, .width = 3, .numbers = {4000, 2, 7}};
      store::Frame& frame = update.frames.emplace_back();
      frame.beads = {.side_x = 3, .side_y = 3, .x = {7}, .y = {8}, .angle = {9}, .spinner = {1}};
      update.end_state = store::BedBytes{.bytes = "left", .side_x = 1, .side_y = 1};
      update.entry.emplace().set_user("anna");
    }
    EXPECT_TRUE(store_->runs().RecordProgress(id, updates).ok());
    return id;
  }

  /// Number of rows of a study in all tables.
  int64_t RowsOf(int64_t study) {
    auto connection = store::Connection::Open(directory_.path() + "/gyrebox.db", store::Connection::Mode::kRead);
    int64_t count = 0;
    for (const char* sql :
         {"SELECT COUNT(*) FROM run WHERE study = ?", "SELECT COUNT(*) FROM segment WHERE study = ?",
          "SELECT COUNT(*) FROM frame WHERE study = ?", "SELECT COUNT(*) FROM frame_bed WHERE study = ?",
          "SELECT COUNT(*) FROM state WHERE study = ?", "SELECT COUNT(*) FROM journal WHERE study = ?",
          "SELECT COUNT(*) FROM run_count WHERE study = ?", "SELECT COUNT(*) FROM edit WHERE study = ?",
          "SELECT COUNT(*) FROM label WHERE study = ?", "SELECT COUNT(*) FROM request WHERE study = ?",
          "SELECT COUNT(*) FROM start_state WHERE study = ?", "SELECT COUNT(*) FROM study WHERE id = ?"}) {
      auto row = (*connection)->Prepare(sql);
      EXPECT_TRUE(row.Bind(study).Next()) << sql << row.status();
      count += row.Int(0);
    }
    return count;
  }

  int FilesOf(int64_t study) {
    int count = 0;
    for (const auto& entry : std::filesystem::directory_iterator(directory_.path() + "/states")) {
      count += entry.path().filename().string().starts_with(std::to_string(study) + "-") ? 1 : 0;
    }
    return count;
  }

  int64_t EndOf(int64_t study) { return TimeUtil::TimestampToMilliseconds(store_->studies().Get(study)->end_time()); }
  int64_t DeleteTimeOf(int64_t study) {
    return TimeUtil::TimestampToMilliseconds(store_->studies().Get(study)->delete_time());
  }
  bool IsWarned(int64_t study) { return store_->studies().Get(study)->has_delete_time(); }

  void Erase() {
    while (*store_->deletion().EraseSome()) continue;
  }

  test::TemporaryDirectory directory_;
  std::unique_ptr<store::Store> store_;
};

TEST_F(KeepingTest, NothingIsLeftOfADeletedStudy) {
  const int64_t id = Finished(), other = Finished();
  ASSERT_TRUE(store_->studies().Update(id, {"note", std::vector<std::string>{"film"}}, "", "anna").ok());
  ASSERT_GT(RowsOf(id), 10);
  ASSERT_EQ(FilesOf(id), 2);
  ASSERT_TRUE(store_->deletion().Delete(id, "").ok());
  // The study disappears at once, while its rows still exist.
  EXPECT_TRUE(absl::IsNotFound(store_->studies().Get(id).status()));
  EXPECT_TRUE(absl::IsNotFound(store_->runs().Get(id, 1).status()));
  EXPECT_TRUE(absl::IsNotFound(store_->studies().GetOwner(id).status()));
  EXPECT_TRUE(absl::IsNotFound(store_->deletion().Delete(id, "")));
  EXPECT_EQ(store_->studies().List(100, 10)->size(), 1u);
  EXPECT_GT(RowsOf(id), 10);
  Erase();
  EXPECT_EQ(RowsOf(id), 0);
  EXPECT_EQ(FilesOf(id), 0);
  EXPECT_EQ(store_->states().GetEnd(other, 2)->bytes, "left");
  EXPECT_EQ(store_->series().Read(other, 2, 0, 10)->size(), 1u);
  EXPECT_EQ(store_->frames().List(other, 2, 0, 10)->size(), 1u);
  EXPECT_EQ(store_->series().GetObservables(other, 2)->size(), 1u);
  EXPECT_EQ(Finished(), 3);  // names are never reused
}

TEST_F(KeepingTest, AnInterruptedDeletionIsCompletedAtTheNextOpening) {
  const int64_t id = Finished();
  ASSERT_TRUE(store_->deletion().Delete(id, "").ok());
  Open();
  EXPECT_EQ(RowsOf(id), 0);
  EXPECT_EQ(FilesOf(id), 0);
  // Also if it was interrupted between the rows and the files.
  std::filesystem::copy_file(directory_.Write("left", "x"), directory_.path() + "/states/1-1-4000.end");
  Open();
  EXPECT_EQ(FilesOf(id), 0);
}

// The other study has its own copy of the initial state.
TEST_F(KeepingTest, DeletingASourceStudyKeepsTheInitialStateOfTheOther) {
  const int64_t first = Finished();
  const int64_t second = Finished("studies/1/runs/2/states/4000");
  EXPECT_TRUE(store_->deletion().Delete(first, "").ok());
  Erase();
  EXPECT_EQ(FilesOf(first), 0);
  Open();
  EXPECT_EQ(store_->states().GetStart(second)->bytes, "left");
  // An equal study starts from the same state; a study that names the deleted state is refused.
  const v1::StudySpec spec = store_->studies().Get(second)->spec();
  ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "", "anna", 0, /*like=*/second).ok());
  EXPECT_EQ(store_->states().GetStart(3)->bytes, "left");
  EXPECT_TRUE(absl::IsNotFound(store_->studies().Create(spec, NewRuns(spec), "").status()));
  EXPECT_EQ(FilesOf(4), 0);
  ASSERT_TRUE(store_->deletion().Delete(second, "").ok());
  Erase();
  EXPECT_EQ(FilesOf(second), 0);
  EXPECT_EQ(RowsOf(second), 0);
  EXPECT_EQ(store_->states().GetStart(3)->bytes, "left");
}

TEST_F(KeepingTest, AStudyWithOpenRunsIsNeitherDeletedNorArchived) {
  const v1::StudySpec spec = AmplitudeStudy({4}, 1);
  ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "").ok());
  EXPECT_TRUE(absl::IsFailedPrecondition(store_->deletion().Delete(1, "")));
  EXPECT_TRUE(absl::IsFailedPrecondition(store_->studies().Archive(1, true, "anna").status()));
  ASSERT_TRUE(store_->studies().Cancel(1).ok());
  EXPECT_TRUE(store_->studies().Archive(1, true, "anna")->archived());
  EXPECT_TRUE(store_->deletion().Delete(1, "").ok());
}

TEST_F(KeepingTest, WhatUsersDoToAStudyDoesNotMoveItsEnd) {
  const int64_t id = Finished();
  auto connection = store::Connection::Open(directory_.path() + "/gyrebox.db", store::Connection::Mode::kWrite);
  ASSERT_TRUE((*connection)->Execute("UPDATE study SET end_time = 5").ok());
  ASSERT_TRUE(store_->studies().Update(id, {"note", std::nullopt}, "", "anna").ok());
  ASSERT_TRUE(store_->queue().SetPriority(id, 0, 5).ok());
  EXPECT_EQ(EndOf(id), 5);
}

TEST_F(KeepingTest, FollowsTheOrderInWhichStudiesEnded) {
  const v1::StudySpec spec = AmplitudeStudy({4}, 1);
  ASSERT_TRUE(store_->studies().Create(spec, NewRuns(spec), "").ok());
  Finished();
  Finished();
  ASSERT_TRUE(store_->studies().Cancel(1).ok());
  std::vector<int64_t> order;
  const auto there = store_->deletion().ListDeletable();
  for (const auto& study : there->studies) order.push_back(study.study);
  EXPECT_THAT(order, ElementsAre(2, 3, 1));
}

TEST_F(KeepingTest, AnOldStudyIsDeletedAfterItsWarning) {
  const int64_t id = Finished();
  std::vector<int64_t> told;
  RetentionWorker retention_worker(*store_, {.keep_days = 30, .warn_days = 7},
                                   [&](int64_t study) { told.push_back(study); });
  int64_t now = EndOf(id) + 30 * kDay;
  ASSERT_TRUE(retention_worker.Look(now, 0).ok());
  EXPECT_FALSE(IsWarned(id));
  now += 1;
  ASSERT_TRUE(retention_worker.Look(now, 600).ok());
  EXPECT_EQ(DeleteTimeOf(id), now + 7 * kDay);
  EXPECT_THAT(store_->studies().Get(id)->delete_reason(), HasSubstr("30 days"));
  EXPECT_THAT(told, ElementsAre(id));
  for (int day = 1; day < 7; ++day) {
    ASSERT_TRUE(retention_worker.Look(now + day * kDay, kDaySeconds).ok());
    EXPECT_EQ(DeleteTimeOf(id), now + 7 * kDay);
  }
  ASSERT_TRUE(retention_worker.Look(now + 7 * kDay, kDaySeconds).ok());
  EXPECT_TRUE(absl::IsNotFound(store_->studies().Get(id).status()));
}

TEST_F(KeepingTest, DowntimeIsAddedToTheWarning) {
  const int64_t id = Finished();
  const int64_t now = EndOf(id) + 31 * kDay;
  const Rules rules{.keep_days = 30, .warn_days = 7};
  ASSERT_TRUE(RetentionWorker(*store_, rules, [](int64_t) {}).Look(now, 0).ok());
  ASSERT_TRUE(RetentionWorker(*store_, rules, [](int64_t) {}).Look(now + 3 * kDay, 3 * kDaySeconds).ok());
  Open();  // ten days of downtime
  RetentionWorker retention_worker(*store_, rules, [](int64_t) {});
  ASSERT_TRUE(retention_worker.Look(now + 13 * kDay, 0).ok());
  EXPECT_EQ(DeleteTimeOf(id), now + 17 * kDay);
  ASSERT_TRUE(retention_worker.Look(now + 17 * kDay, 4 * kDaySeconds).ok());
  EXPECT_TRUE(absl::IsNotFound(store_->studies().Get(id).status()));
}

// The clock is set a year ahead and back again: nothing is deleted, and the warning is withdrawn.
TEST_F(KeepingTest, AClockThatJumpsDeletesNothing) {
  const int64_t id = Finished();
  RetentionWorker retention_worker(*store_, {.keep_days = 30, .warn_days = 7}, [](int64_t) {});
  const int64_t now = EndOf(id);
  ASSERT_TRUE(retention_worker.Look(now + 365 * kDay, 600).ok());
  EXPECT_TRUE(IsWarned(id));
  ASSERT_TRUE(retention_worker.Look(now + 2 * 365 * kDay, 600).ok());  // later than the announced deletion time
  EXPECT_TRUE(IsWarned(id));
  ASSERT_TRUE(retention_worker.Look(now + kDay, 600).ok());
  EXPECT_FALSE(IsWarned(id));
  EXPECT_EQ(store_->studies().Get(id)->delete_reason(), "");
  ASSERT_TRUE(retention_worker.Look(now - 365 * kDay, 600).ok());  // now set back by a year
  EXPECT_FALSE(IsWarned(id));
  // The next warning runs for its full time again.
  ASSERT_TRUE(retention_worker.Look(now + 31 * kDay, 10 * kDaySeconds).ok());
  ASSERT_TRUE(retention_worker.Look(now + 37 * kDay, 6 * kDaySeconds).ok());
  EXPECT_TRUE(IsWarned(id));
}

TEST_F(KeepingTest, AClockSetBackDeletesNothingEarlyAndMovesTheDeletionTime) {
  const int64_t id = Finished();
  RetentionWorker retention_worker(*store_, {.keep_gib = 1e-9, .warn_days = 7}, [](int64_t) {});
  const int64_t now = EndOf(id);
  ASSERT_TRUE(retention_worker.Look(now, 0).ok());
  ASSERT_TRUE(retention_worker.Look(now - 365 * kDay, 2 * kDaySeconds).ok());
  EXPECT_EQ(DeleteTimeOf(id), now - 365 * kDay + 5 * kDay);
  ASSERT_TRUE(retention_worker.Look(now - 361 * kDay, 4 * kDaySeconds).ok());
  EXPECT_TRUE(IsWarned(id));
  ASSERT_TRUE(retention_worker.Look(now - 360 * kDay, 1 * kDaySeconds).ok());
  EXPECT_TRUE(absl::IsNotFound(store_->studies().Get(id).status()));
}

TEST_F(KeepingTest, AnArchivedStudyIsNeverDeletedAndLosesItsWarning) {
  const int64_t id = Finished();
  RetentionWorker retention_worker(*store_, {.keep_days = 30, .keep_gib = 1e-9, .warn_days = 7}, [](int64_t) {});
  const int64_t now = EndOf(id) + 31 * kDay;
  ASSERT_TRUE(retention_worker.Look(now, 0).ok());
  ASSERT_TRUE(IsWarned(id));
  ASSERT_TRUE(store_->studies().Archive(id, true, "anna").ok());
  EXPECT_FALSE(IsWarned(id));
  ASSERT_TRUE(retention_worker.Look(now + 100 * kDay, 100 * kDaySeconds).ok());
  EXPECT_TRUE(store_->studies().Get(id)->archived());
  EXPECT_FALSE(IsWarned(id));
  ASSERT_TRUE(store_->studies().Archive(id, false, "anna").ok());
  ASSERT_TRUE(retention_worker.Look(now + 101 * kDay, kDaySeconds).ok());
  EXPECT_EQ(DeleteTimeOf(id), now + 108 * kDay);  // the warning restarts
}

TEST_F(KeepingTest, AGrowingStudyLosesItsWarning) {
  const int64_t id = Finished();
  RetentionWorker retention_worker(*store_, {.keep_days = 30, .warn_days = 7}, [](int64_t) {});
  const int64_t now = EndOf(id) + 31 * kDay;
  ASSERT_TRUE(retention_worker.Look(now, 0).ok());
  v1::StudySpec spec = store_->studies().Get(id)->spec();
  spec.mutable_trials()->set_count(3);
  auto runs = NewRuns(spec);
  runs.erase(runs.begin(), runs.begin() + 2);
  ASSERT_TRUE(store_->studies().Grow(id, {spec, runs, {}, "1 trial"}, "", "", "anna").ok());
  EXPECT_FALSE(IsWarned(id));
  ASSERT_TRUE(retention_worker.Look(now + 100 * kDay, 100 * kDaySeconds).ok());  // it has not ended
  EXPECT_FALSE(IsWarned(id));
}

TEST_F(KeepingTest, TheEarliestEndedAreDeletedUntilTheRestFits) {
  const int64_t first = Finished(), second = Finished(), third = Finished();
  const auto there = store_->deletion().ListDeletable();
  ASSERT_EQ(there->studies.size(), 3u);
  const auto one = static_cast<double>(there->studies[0].bytes);
  ASSERT_GT(one, 0);
  EXPECT_EQ(static_cast<double>(there->all_bytes), 3 * one);
  RetentionWorker retention_worker(*store_, {.keep_gib = 2 * one / kGibibyte, .warn_days = 7}, [](int64_t) {});
  const int64_t now = EndOf(third);
  ASSERT_TRUE(retention_worker.Look(now, 0).ok());
  EXPECT_TRUE(IsWarned(first));
  EXPECT_FALSE(IsWarned(second));
  ASSERT_TRUE(store_->deletion().Delete(second, "").ok());  // someone frees space
  ASSERT_TRUE(retention_worker.Look(now + kDay, kDaySeconds).ok());
  EXPECT_FALSE(IsWarned(first));
}

// A study that is archived between the check and the deletion is kept.
TEST_F(KeepingTest, OnlyAStudyThatIsStillDueIsDeleted) {
  const int64_t id = Finished();
  EXPECT_TRUE(absl::IsFailedPrecondition(store_->deletion().DeleteDue(id, 0)));
  ASSERT_TRUE(store_->deletion().SetWarnings(std::vector<store::Warning>{{id, EndOf(id), "why"}}, 0).ok());
  EXPECT_TRUE(absl::IsFailedPrecondition(store_->deletion().DeleteDue(id, 1)));
  ASSERT_TRUE(store_->studies().Archive(id, true, "anna").ok());
  EXPECT_TRUE(absl::IsFailedPrecondition(store_->deletion().DeleteDue(id, 0)));
  ASSERT_TRUE(store_->studies().Archive(id, false, "anna").ok());
  ASSERT_TRUE(store_->deletion().SetWarnings(std::vector<store::Warning>{{id, EndOf(id), "why"}}, 0).ok());
  ASSERT_TRUE(store_->deletion().SetWarnings(std::vector<store::Warning>{{id, EndOf(id), "why"}}, 1).ok());
  EXPECT_TRUE(store_->deletion().DeleteDue(id, 1).ok());
}

TEST_F(KeepingTest, TheThreadErasesDeletedStudies) {
  const int64_t id = Finished();
  RetentionWorker retention_worker(*store_, {}, [](int64_t) {});
  retention_worker.Start();
  ASSERT_TRUE(store_->deletion().Delete(id, "").ok());
  retention_worker.Wake();
  retention_worker.Stop();
  Erase();  // erases what the thread had no time for
  EXPECT_EQ(RowsOf(id), 0);
}

}  // namespace
}  // namespace gyrebox::retention
