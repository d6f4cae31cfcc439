// Durability of the store.
#include "store/store.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <limits>

#include "example_studies.h"
#include "temporary_directory.h"

namespace gyrebox::store {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;
using test::TemporaryDirectory;
using testing::ElementsAre;
using testing::IsNan;

std::unique_ptr<Store> Open(const TemporaryDirectory& directory) {
  auto store = Store::Open(directory.path());
  EXPECT_TRUE(store.ok()) << store.status();
  return *std::move(store);
}

v1::Study Create(Store& store, const v1::StudySpec& spec, const std::string& request_id = "") {
  auto study = store.studies().Create(spec, NewRuns(spec), request_id);
  EXPECT_TRUE(study.ok()) << study.status();
  return *std::move(study);
}

/// Samples of two values each: 10, 20, ... at times 1, 2, ...
RunUpdate Progress(int64_t number, int64_t first_step, int count, v1::Run::State state = v1::Run::STATE_RUNNING) {
  RunUpdate update;
  update.number = number;
  update.state = state;
  update.step = first_step + count - 1;
  update.time = static_cast<double>(update.step);
  update.samples.width = 4;
  for (int64_t step = first_step; step < first_step + count; ++step) {
    const auto value = static_cast<double>(step);
    update.samples.numbers.insert(update.samples.numbers.end(), {value, value, 10 * value, 20 * value});
  }
  return update;
}

TEST(StoreTest, KeepsAStudyOverARestart) {
  const TemporaryDirectory directory;
  const v1::StudySpec spec = AmplitudeStudy({4, 8}, 2);
  EXPECT_EQ(Create(*Open(directory), spec).name(), "studies/1");
  const auto store = Open(directory);
  const auto study = store->studies().Get(1);
  ASSERT_TRUE(study.ok()) << study.status();
  EXPECT_EQ(study->spec().SerializeAsString(), spec.SerializeAsString());
  EXPECT_EQ(study->state(), v1::Study::STATE_QUEUED);
  EXPECT_EQ(study->run_counts().total_count(), 4);
  EXPECT_EQ(study->run_counts().queued_count(), 4);
  EXPECT_GT(study->create_time().seconds(), 1'500'000'000);
  const auto runs = store->runs().List(1, 0, 10);
  ASSERT_TRUE(runs.ok());
  ASSERT_EQ(runs->size(), 4u);
  EXPECT_EQ((*runs)[3].name(), "studies/1/runs/4");
  EXPECT_THAT((*runs)[3].axis_values(), ElementsAre(8));
  EXPECT_EQ((*runs)[3].trial(), 2);
  EXPECT_EQ((*runs)[3].seeds().positions(), 2u);
  EXPECT_EQ((*runs)[3].total_steps(), 4000);
}

TEST(StoreTest, RefusesASecondServer) {
  const TemporaryDirectory directory;
  const auto first = Open(directory);
  const auto second = Store::Open(directory.path());
  EXPECT_EQ(second.status().code(), absl::StatusCode::kFailedPrecondition);
  EXPECT_NE(second.status().message().find("another server uses"), absl::string_view::npos);
}

TEST(StoreTest, RefusesADirectoryThatCannotBeMade) {
  const TemporaryDirectory directory;
  const std::string file = directory.Write("file", "");
  EXPECT_EQ(Store::Open(file + "/data").status().code(), absl::StatusCode::kFailedPrecondition);
}

TEST(StoreTest, AnswersARepeatedRequestWithTheFirstStudy) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  const v1::StudySpec spec = AmplitudeStudy({4}, 1);
  EXPECT_EQ(Create(*store, spec, "once").name(), "studies/1");
  EXPECT_EQ(Create(*store, spec, "once").name(), "studies/1");
  EXPECT_EQ(Create(*store, spec, "again").name(), "studies/2");
  EXPECT_EQ(Create(*store, spec).name(), "studies/3");
  EXPECT_EQ(Create(*store, spec).name(), "studies/4");
  EXPECT_EQ(store->requests().Find({"once", "local"})->value().study, 1);
  EXPECT_FALSE(store->requests().Find({"never", "local"})->has_value());
}

TEST(StoreTest, ListsNewestFirst) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  for (int i = 0; i < 3; ++i) Create(*store, AmplitudeStudy({4}, 1));
  const auto studies = store->studies().List(3, 10);
  ASSERT_TRUE(studies.ok());
  ASSERT_EQ(studies->size(), 2u);
  EXPECT_EQ((*studies)[0].name(), "studies/2");
  EXPECT_EQ((*studies)[1].name(), "studies/1");
}

TEST(StoreTest, ReportsMissingObjects) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  EXPECT_EQ(store->studies().Get(5).status().code(), absl::StatusCode::kNotFound);
  EXPECT_EQ(store->runs().Get(5, 1).status().code(), absl::StatusCode::kNotFound);
  EXPECT_EQ(store->studies().Cancel(5).code(), absl::StatusCode::kNotFound);
}

TEST(StoreTest, ARunIsTakenOnce) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 3));
  EXPECT_THAT(*store->queue().Start(1, std::vector<int64_t>{1, 2}, "cuda:0"), ElementsAre(1, 2));
  EXPECT_THAT(*store->queue().Start(1, std::vector<int64_t>{2, 3, 4}, "cuda:1"), ElementsAre(3));
  EXPECT_EQ(store->runs().Get(1, 2)->device(), "cuda:0");
  EXPECT_EQ(store->runs().Get(1, 3)->device(), "cuda:1");
}

TEST(StoreTest, FollowsARunFromQueueToEnd) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4, 8}, 1));
  const auto waiting = store->queue().ListWaiting();
  ASSERT_TRUE(waiting.ok());
  ASSERT_EQ(waiting->size(), 1u);
  EXPECT_EQ(waiting->front().count, 2);
  EXPECT_EQ(waiting->front().owner, "local");
  const auto queued = store->queue().ListQueued(1, 10);
  ASSERT_TRUE(queued.ok());
  EXPECT_EQ(queued->study, 1);
  EXPECT_EQ(queued->runs.size(), 2u);
  ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_STARTING);
  EXPECT_EQ(store->queue().ListQueued(1, 10)->runs.size(), 1u);
  EXPECT_EQ(store->studies().Get(1)->state(), v1::Study::STATE_RUNNING);

  ASSERT_TRUE(store->runs().RecordProgress(1, std::vector<RunUpdate>{Progress(1, 0, 3)}).ok());
  ASSERT_TRUE(store->runs().RecordProgress(1, std::vector<RunUpdate>{Progress(1, 3, 2, v1::Run::STATE_FINISHED)}).ok());
  const auto run = store->runs().Get(1, 1);
  EXPECT_EQ(run->state(), v1::Run::STATE_FINISHED);
  EXPECT_EQ(run->sample_count(), 5);
  EXPECT_EQ(run->step(), 4);
  EXPECT_EQ(run->device(), "cpu");
  EXPECT_TRUE(run->has_end_time());
  EXPECT_FALSE(store->studies().Get(1)->has_end_time());
  EXPECT_DOUBLE_EQ(store->studies().Get(1)->progress(), 0.5);

  const auto rows = store->series().Read(1, 1, /*from=*/2, /*limit=*/2);
  ASSERT_TRUE(rows.ok());
  EXPECT_EQ(rows->first, 2);
  ASSERT_EQ(rows->size(), 2u);
  EXPECT_THAT(rows->row(0), ElementsAre(2, 2, 20, 40));
  EXPECT_THAT(rows->row(1), ElementsAre(3, 3, 30, 60));
  EXPECT_EQ(store->series().Read(1, 1, 5, 10)->size(), 0u);
}

TEST(StoreTest, ARunThatRollsBackIsQueuedAndKeepsTheStepItHadReached) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  const std::vector<int64_t> runs = {1};
  ASSERT_TRUE(store->queue().Start(1, runs, "cpu").ok());
  ASSERT_TRUE(store->runs().RecordProgress(1, std::vector<RunUpdate>{Progress(1, 0, 3)}).ok());
  const int64_t step = store->runs().Get(1, 1)->step();
  ASSERT_GT(step, 0);
  ASSERT_TRUE(store->queue().Requeue(1, runs).ok());
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_QUEUED);
  EXPECT_EQ(store->runs().Get(1, 1)->step(), 0);
  EXPECT_EQ(store->runs().Get(1, 1)->sample_count(), 0);
  EXPECT_EQ(*store->runs().ReachedStep(1, 1), step);
}

TEST(StoreTest, ARunThatRollsBackInACancelledStudyEnds) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  const std::vector<int64_t> runs = {1};
  ASSERT_TRUE(store->queue().Start(1, runs, "cpu").ok());
  ASSERT_TRUE(store->studies().Cancel(1).ok());
  ASSERT_TRUE(store->queue().Requeue(1, runs).ok());
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_CANCELLED);
  EXPECT_TRUE(store->runs().Get(1, 1)->has_end_time());
  EXPECT_TRUE(store->queue().ListWaiting()->empty());
}

TEST(StoreTest, ReadsColumnsOfLateSegmentsAlone) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
  for (int segment = 0; segment < 3; ++segment) {
    RunUpdate update = Progress(1, 2 * segment, 0);
    update.samples.width = 6;
    update.samples.wide = {{3, 2}};
    const double t = segment;
    update.samples.numbers = {t, t, 10 + t, 1, kNone, kNone, t + 0.5, t + 0.5, 20 + t, kNone, kNone, 7};
    ASSERT_TRUE(store->runs().RecordProgress(1, std::vector{update}).ok());
  }
  const std::vector<size_t> columns = {1, 5, 2};
  const auto rows = store->series().ReadColumns(1, 1, /*time=*/1.5, columns);
  ASSERT_TRUE(rows.ok()) << rows.status();
  EXPECT_EQ(rows->first, 2);
  ASSERT_EQ(rows->size(), 4u);
  EXPECT_THAT(rows->row(0), ElementsAre(1, IsNan(), 11));
  EXPECT_THAT(rows->row(3), ElementsAre(2.5, 7, 22));
  const auto whole = store->series().Read(1, 1, 5, 10);
  ASSERT_EQ(whole->size(), 1u);
  EXPECT_THAT(whole->row(0), ElementsAre(2.5, 2.5, 22, IsNan(), IsNan(), 7));
  EXPECT_THAT(store->series().Read(1, 1, 0, 1)->row(0), ElementsAre(0, 0, 10, 1, IsNan(), IsNan()));
}

TEST(StoreTest, KeepsTheStateThatARunLeavesOverARestart) {
  const TemporaryDirectory directory;
  const std::string bytes = std::string("any\0bytes", 9).append(100'000, 'x');
  {
    const auto store = Open(directory);
    Create(*store, AmplitudeStudy({4}, 2));
    ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1, 2}, "cpu").ok());
    EXPECT_TRUE(absl::IsFailedPrecondition(store->states().GetEnd(1, 1).status()));
    RunUpdate update = Progress(1, 0, 2, v1::Run::STATE_FINISHED);
    update.end_state = BedBytes{.bytes = bytes, .side_x = 12.5, .side_y = 0.1};
    ASSERT_TRUE(store->runs().RecordProgress(1, std::vector{update}).ok());
  }
  const auto store = Open(directory);
  const auto state = store->states().GetEnd(1, 1);
  ASSERT_TRUE(state.ok()) << state.status();
  EXPECT_EQ(state->bytes, bytes);
  EXPECT_EQ(state->side_x, 12.5);
  EXPECT_EQ(state->side_y, 0.1);
  EXPECT_TRUE(absl::IsFailedPrecondition(store->states().GetEnd(1, 2).status()));
  EXPECT_TRUE(std::filesystem::exists(directory.path() + "/states/1-1-1.end"));
  EXPECT_FALSE(std::filesystem::exists(directory.path() + "/states/1-1-1.end.new"));
}

// A failed write is reported and nothing of it is recorded; repeating the call records everything.
TEST(StoreTest, RecordsNothingOfARunWhoseStateCannotBeWritten) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  RunUpdate update = Progress(1, 0, 3, v1::Run::STATE_FINISHED);
  update.end_state = BedBytes{.bytes = "bytes", .side_x = 1, .side_y = 1};
  const std::string in_the_way = directory.Write("states", "no directory");
  EXPECT_THAT(std::string(store->runs().RecordProgress(1, std::vector{update}).message()),
              testing::HasSubstr("/states"));
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_STARTING);
  EXPECT_EQ(store->runs().Get(1, 1)->sample_count(), 0);
  std::filesystem::remove(in_the_way);
  ASSERT_TRUE(store->runs().RecordProgress(1, std::vector{update}).ok());
  EXPECT_EQ(store->runs().Get(1, 1)->sample_count(), 3);
  EXPECT_EQ(store->states().GetEnd(1, 1)->bytes, "bytes");
}

TEST(StoreTest, EndsAStudyWithItsLastRun) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  RunUpdate update = Progress(1, 0, 1, v1::Run::STATE_UNSTABLE);
  update.fault.emplace().set_reason("CLOSEST_PAIR");
  ASSERT_TRUE(store->runs().RecordProgress(1, std::vector<RunUpdate>{update}).ok());
  const auto study = store->studies().Get(1);
  EXPECT_EQ(study->state(), v1::Study::STATE_FINISHED);
  EXPECT_TRUE(study->has_end_time());
  EXPECT_EQ(study->progress(), 1);
  EXPECT_EQ(store->runs().Get(1, 1)->fault().reason(), "CLOSEST_PAIR");
}

TEST(StoreTest, QueuesInterruptedRunsAgainWithoutTheirSamples) {
  const TemporaryDirectory directory;
  {
    const auto store = Open(directory);
    Create(*store, AmplitudeStudy({4, 8}, 1));
    ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1, 2}, "cpu").ok());
    ASSERT_TRUE(
        store->runs()
            .RecordProgress(1, std::vector<RunUpdate>{Progress(1, 0, 3, v1::Run::STATE_FINISHED), Progress(2, 0, 3)})
            .ok());
  }
  const auto store = Open(directory);
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_FINISHED);
  EXPECT_EQ(store->series().Read(1, 1, 0, 10)->size(), 3u);
  const auto cut_off = store->runs().Get(1, 2);
  EXPECT_EQ(cut_off->state(), v1::Run::STATE_QUEUED);
  EXPECT_EQ(cut_off->sample_count(), 0);
  EXPECT_EQ(cut_off->step(), 0);
  EXPECT_FALSE(cut_off->has_start_time());
  EXPECT_EQ(store->series().Read(1, 2, 0, 10)->size(), 0u);
}

TEST(StoreTest, CancelsQueuedRunsAndKeepsMeasurements) {
  const TemporaryDirectory directory;
  {
    const auto store = Open(directory);
    Create(*store, AmplitudeStudy({4, 8}, 1));
    ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
    ASSERT_TRUE(store->runs().RecordProgress(1, std::vector<RunUpdate>{Progress(1, 0, 3)}).ok());
    ASSERT_TRUE(store->studies().Cancel(1).ok());
    EXPECT_TRUE(*store->studies().IsCancelled(1));
    EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_RUNNING);
    EXPECT_EQ(store->runs().Get(1, 2)->state(), v1::Run::STATE_CANCELLED);
    EXPECT_EQ(store->studies().Cancel(1).code(), absl::StatusCode::kFailedPrecondition);
  }
  const auto store = Open(directory);  // the process ended before the running one was stopped
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_CANCELLED);
  EXPECT_EQ(store->series().Read(1, 1, 0, 10)->size(), 3u);
  EXPECT_TRUE(store->studies().Get(1)->has_end_time());
}

// A user pauses a study and cancels it before the device has released its runs.
TEST(StoreTest, ARunThatWouldWaitInACancelledStudyEnds) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  for (const auto waits : {v1::Run::STATE_PAUSED, v1::Run::STATE_QUEUED}) {
    const int64_t study = waits == v1::Run::STATE_PAUSED ? 1 : 2;
    Create(*store, AmplitudeStudy({4}, 1));
    ASSERT_TRUE(store->queue().Start(study, std::vector<int64_t>{1}, "cpu").ok());
    ASSERT_TRUE(store->studies().Cancel(study).ok());
    ASSERT_TRUE(store->runs().RecordProgress(study, {Progress(1, 0, 3, waits)}).ok());
    EXPECT_EQ(store->runs().Get(study, 1)->state(), v1::Run::STATE_CANCELLED);
    EXPECT_TRUE(store->runs().Get(study, 1)->has_end_time());
    EXPECT_TRUE(store->studies().Get(study)->has_end_time());
    EXPECT_EQ(store->series().Read(study, 1, 0, 10)->size(), 3u);
  }
}

TEST(StoreTest, AJournalIsInOrderOfWritingWhateverTheClock) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  for (const int64_t seconds : {5000, 1000, 3000}) {  // set back by an hour, then corrected
    JournalWrite write{1, {}, v1::Run::STATE_QUEUED};
    write.entry.set_kind(v1::Adjustment::KIND_CHANGE);
    write.entry.mutable_create_time()->set_seconds(seconds);
    ASSERT_TRUE(store->journals().Write(1, std::vector{write}).ok());
  }
  const auto journal = store->journals().Get(1, 1);
  ASSERT_EQ(journal->size(), 3u);
  EXPECT_EQ(journal->at(0).create_time().seconds(), 5000);
  EXPECT_EQ(journal->at(1).create_time().seconds(), 1000);
  EXPECT_EQ(journal->at(2).create_time().seconds(), 3000);
  EXPECT_EQ(journal->at(2).name(), "studies/1/runs/1/adjustments/3");
  EXPECT_EQ(store->runs().Get(1, 1)->etag(), "3");
}

TEST(StoreTest, NeverRestartsAnEndedRun) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  ASSERT_TRUE(store->studies().Cancel(1).ok());
  ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  ASSERT_TRUE(store->runs().RecordProgress(1, std::vector<RunUpdate>{Progress(1, 0, 3)}).ok());
  EXPECT_EQ(store->runs().Get(1, 1)->state(), v1::Run::STATE_CANCELLED);
  EXPECT_EQ(store->runs().Get(1, 1)->sample_count(), 0);
  EXPECT_EQ(store->series().Read(1, 1, 0, 10)->size(), 0u);
}

TEST(StoreTest, ListsRunsInTheOrderOfTheirChanges) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4, 6, 8}, 1));
  auto changed = store->runs().ListChanged(1, {}, 2);
  ASSERT_EQ(changed->runs.size(), 2u);
  changed = store->runs().ListChanged(1, changed->cursors[1], 2);
  ASSERT_EQ(changed->runs.size(), 1u);
  EXPECT_EQ(changed->runs[0].name(), "studies/1/runs/3");
  const ChangeCursor seen = changed->cursors[0];
  EXPECT_TRUE(store->runs().ListChanged(1, seen, 2)->runs.empty());
  ASSERT_TRUE(store->queue().Start(1, std::vector<int64_t>{2}, "cpu").ok());
  changed = store->runs().ListChanged(1, seen, 2);
  ASSERT_EQ(changed->runs.size(), 1u);
  EXPECT_EQ(changed->runs[0].name(), "studies/1/runs/2");
}

TEST(StoreTest, CountsTheWorkOfEveryStudy) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  Create(*store, AmplitudeStudy({4}, 1));
  Create(*store, AmplitudeStudy({4, 8}, 1));
  EXPECT_THAT(*store->queue().OpenWork(), ElementsAre(testing::Pair(1, 4000 * 100), testing::Pair(2, 2 * 4000 * 100)));
}

TEST(StoreTest, KeepsTenThousandRuns) {
  const TemporaryDirectory directory;
  const auto store = Open(directory);
  std::vector<double> amplitudes(1000);
  for (size_t i = 0; i < amplitudes.size(); ++i) amplitudes[i] = static_cast<double>(i);
  Create(*store, AmplitudeStudy(amplitudes, 10));
  // Also repeats 187 points of 4 realizations, each for 2 x 4 / 10'000 of the work: 15 % of it.
  EXPECT_EQ(store->studies().Get(1)->run_counts().queued_count(), 10'000 + 187 * 4);
  EXPECT_EQ(store->runs().Get(1, 10'000)->axis_values(0), 999);
}

TEST(StoreTest, RefusesADatabaseOfANewerVersion) {
  const TemporaryDirectory directory;
  { Open(directory); }
  {
    auto connection = Connection::Open(directory.path() + "/gyrebox.db", Connection::Mode::kWrite);
    ASSERT_TRUE(connection.ok());
    ASSERT_TRUE((*connection)->Execute("PRAGMA user_version = 1000").ok());
  }
  EXPECT_EQ(Store::Open(directory.path()).status().code(), absl::StatusCode::kFailedPrecondition);
}

}  // namespace
}  // namespace gyrebox::store
