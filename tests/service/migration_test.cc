// Databases of every older layout open with all their contents.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <zlib.h>

#include <cmath>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "example_studies.h"
#include "store/sql/migrations.h"
#include "store/state_file.h"
#include "store/store.h"
#include "temporary_directory.h"

namespace gyrebox::store {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;

constexpr int kLayouts = std::size(sql::kMigrations);
constexpr int kLayoutWithFrames = 7;
/// The first layout with the present names of columns.
constexpr int kLayoutWithPositions = 13;

/// A segment as packed by earlier servers: the count of numbers, then a zlib stream of whole rows.
std::string PackWholeRows(const std::vector<double>& numbers) {
  const uint64_t count = numbers.size();
  uLongf size = compressBound(count * sizeof(double));
  std::string bytes(sizeof(count) + size, '\0');
  std::memcpy(bytes.data(), &count, sizeof(count));
  compress(reinterpret_cast<Bytef*>(bytes.data() + sizeof(count)), &size,
           reinterpret_cast<const Bytef*>(numbers.data()), count * sizeof(double));
  bytes.resize(sizeof(count) + size);
  return bytes;
}

/// A database as left by a server with an older layout: a finished run, an interrupted one, and a queued one.
void Make(const std::string& directory, int layout, const v1::StudySpec& spec) {
  auto made = Connection::Open(directory + "/gyrebox.db", Connection::Mode::kWrite);
  ASSERT_TRUE(made.ok()) << made.status();
  Connection& old = **made;
  for (int step = 0; step < layout; ++step) ASSERT_TRUE(old.Execute(sql::kMigrations[step]).ok()) << step;
  ASSERT_TRUE(old.Execute("PRAGMA user_version = " + std::to_string(layout)).ok());
  const std::string bytes = spec.SerializeAsString();
  ASSERT_TRUE(
      old.Prepare("INSERT INTO study (spec, create_time) VALUES (?, 1)").Bind(Statement::AsBlob(bytes)).Run().ok());
  const std::string positions = layout < kLayoutWithPositions ? "seed_places" : "seed_positions";
  for (const char* run : {"1, 4000, 5, 2", "2, 500, 3, 1", "3, 0, 1, 0"}) {
    const auto inserted =
        old.Execute("INSERT INTO run (study, axis_values, trial, " + positions +
                    ", seed_noise, seed_disorder, bead_count, total_steps, "
                    "number, step, state, sample_count) VALUES (1, x'0000000000001040', 1, 1, 1, 1, 100, 4000, " +
                    std::string(run) + ")");
    ASSERT_TRUE(inserted.ok()) << inserted;
  }
  for (const int64_t run : {1, 2}) {
    const std::vector<double> numbers =
        run == 1 ? std::vector{0.0, 0.0, 7.0, 4000.0, 2.0, 8.0} : std::vector{0.0, 0.0, 7.0};
    const std::string packed = PackWholeRows(numbers);
    ASSERT_TRUE(
        old.Prepare("INSERT INTO segment (study, run, first, count, last_time, samples) VALUES (1, ?, 0, ?, 2, ?)")
            .Bind(run, static_cast<int64_t>(numbers.size() / 3), Statement::AsBlob(packed))
            .Run()
            .ok());
  }
  (void)old.Execute("UPDATE study SET stored_bytes = 1000");  // if the layout has this column
  // If the layout has frames: one of the finished run and one of the interrupted run.
  const std::string beads(2 * 12, 'b');
  for (const int64_t run : {1, 2}) {
    (void)old.Execute("INSERT INTO frame_bed (study, run, side_x, side_y, kinds) VALUES (1, " + std::to_string(run) +
                      ", 3, 4, x'0100')");
    (void)old.Prepare("INSERT INTO frame (study, run, step, time, beads, checksum) VALUES (1, ?, 250, 0.125, ?, ?)")
        .Bind(run, Statement::AsBlob(beads), static_cast<int64_t>(ChecksumOf(beads)))
        .Run();
  }
  if (layout < 3) return;
  const std::string left = "what it left";
  std::filesystem::create_directories(directory + "/states");
  std::ofstream(directory + "/states/1-1.bed") << left;
  const bool in_one_table = old.Execute("SELECT 1 FROM end_state").ok();
  const char* insert =
      in_one_table ? "INSERT INTO end_state (study, run, length, checksum, side_x, side_y) VALUES (1, 1, ?, ?, 3, 4)"
                   : "INSERT INTO state (study, run, kind, step, time, file, length, checksum, side_x, side_y) "
                     "VALUES (1, 1, 2, 4000, 2, '1-1.bed', ?, ?, 3, 4)";
  ASSERT_TRUE(
      old.Prepare(insert).Bind(static_cast<int64_t>(left.size()), static_cast<int64_t>(ChecksumOf(left))).Run().ok());
}

class MigrationTest : public testing::TestWithParam<int> {};

TEST_P(MigrationTest, EverythingIsThereAndContinues) {
  const test::TemporaryDirectory directory;
  const auto spec = AmplitudeStudy({4}, 3);
  ASSERT_NO_FATAL_FAILURE(Make(directory.path(), GetParam(), spec));
  auto opened = Store::Open(directory.path());
  ASSERT_TRUE(opened.ok()) << opened.status();
  Store& store = **opened;
  const auto study = store.studies().Get(1);
  EXPECT_EQ(study->spec().SerializeAsString(), spec.SerializeAsString());
  EXPECT_EQ(study->owner(), "local");
  const auto finished = store.runs().Get(1, 1);
  EXPECT_EQ(finished->state(), v1::Run::STATE_FINISHED);
  EXPECT_EQ(finished->step(), 4000);
  EXPECT_EQ(finished->axis_values(0), 4);
  EXPECT_EQ(finished->etag(), "0");
  EXPECT_EQ(store.series().Read(1, 1, 0, 10)->row(1)[2], 8);
  EXPECT_THAT(store.series().ReadColumns(1, 1, 0, std::vector<size_t>{2})->numbers, testing::ElementsAre(7, 8));
  EXPECT_GT(store.space().StoredBytes()->at("local"), 0);
  EXPECT_EQ(store.runs().Get(1, 2)->state(), v1::Run::STATE_QUEUED);  // without a checkpoint it restarts
  EXPECT_EQ(store.runs().Get(1, 2)->step(), 0);
  EXPECT_EQ(store.series().Read(1, 2, 0, 10)->size(), 0u);
  ASSERT_EQ(store.queue().ListWaiting()->size(), 1u);
  EXPECT_EQ(store.queue().ListWaiting()->front().count, 2);
  if (GetParam() >= 3) {
    const auto left = store.states().GetEnd(1, 1);
    ASSERT_TRUE(left.ok()) << left.status();
    EXPECT_EQ(left->bytes, "what it left");
    EXPECT_EQ(left->step, 4000);
    EXPECT_EQ(left->side_y, 4);
    EXPECT_EQ(store.states().GetAt(1, 1, 4000)->bytes, "what it left");
  }
  if (GetParam() >= kLayoutWithFrames) {
    const auto frame = store.frames().Read(1, 1, 300);
    ASSERT_TRUE(frame.ok() && frame->has_value()) << frame.status();
    EXPECT_EQ((*frame)->step, 250);
    EXPECT_EQ((*frame)->beads.side_y, 4);
    EXPECT_THAT((*frame)->beads.spinner, testing::ElementsAre(1, 0));
    EXPECT_THAT((*frame)->beads.x, testing::ElementsAre(0x62626262u, 0x62626262u));
  }
  EXPECT_EQ(store.frames().List(1, 1, 0, 10)->size(), GetParam() >= kLayoutWithFrames ? 1u : 0u);
  EXPECT_EQ(store.frames().List(1, 2, 0, 10)->size(), 0u);
  EXPECT_TRUE(store.studies().Create(spec, NewRuns(spec), "").ok());
  // The migrated study behaves like any other.
  EXPECT_EQ(study->note(), "");
  EXPECT_FALSE(study->archived() || study->has_delete_time() || finished->has_exclusion());
  v1::Exclusion exclusion;
  exclusion.set_reason("dust");
  EXPECT_EQ(store.runs().Exclude(1, 1, exclusion, "anna")->exclusion().reason(), "dust");
  auto grown = spec;
  grown.mutable_trials()->set_count(4);
  EXPECT_EQ(store.studies()
                .Grow(1, {grown, {NewRuns(grown)[3]}, {7}, "1 trial"}, "id", "", "anna")
                ->run_counts()
                .total_count(),
            4);
  EXPECT_THAT(store.runs().Get(1, 1)->axis_values(), testing::ElementsAre(4, 7));
  const auto undone = store.studies().UndoGrowth(1, "", "anna");
  ASSERT_TRUE(undone.ok()) << undone.status();
  EXPECT_EQ(undone->run_counts().total_count(), 3);
  EXPECT_EQ(undone->spec().SerializeAsString(), spec.SerializeAsString());
  EXPECT_THAT(store.runs().Get(1, 1)->axis_values(), testing::ElementsAre(4));
  EXPECT_EQ((*store.studies().FindEqual(spec))->name(), "studies/2");
  EXPECT_EQ(store.studies().Give(1, "ben", "", "anna")->owner(), "ben");
  EXPECT_EQ(store.space().StoredBytes()->at("ben"), store.studies().Get(1)->stored_byte_count());
  ASSERT_TRUE(store.studies().Cancel(1).ok());
  EXPECT_TRUE(store.deletion().Delete(1, "").ok());
  while (*store.deletion().EraseSome()) continue;
  EXPECT_EQ(store.studies().List(100, 10)->size(), 1u);
}

// Ended studies of older layouts keep the order of their ends and their initial states.
TEST(MigrationOfEndedStudiesTest, KeepsTheirOrderAndInitialStates) {
  const test::TemporaryDirectory directory;
  auto spec = AmplitudeStudy({4}, 3);
  ASSERT_NO_FATAL_FAILURE(Make(directory.path(), 5, spec));
  {
    auto made = Connection::Open(directory.path() + "/gyrebox.db", Connection::Mode::kWrite);
    spec.mutable_start()->mutable_saved()->set_run("studies/1/runs/1/states/4000");
    const std::string bytes = spec.SerializeAsString();
    ASSERT_TRUE((*made)
                    ->Prepare("INSERT INTO study (spec, create_time) VALUES (?, 1)")
                    .Bind(Statement::AsBlob(bytes))
                    .Run()
                    .ok());
    ASSERT_TRUE((*made)->Execute("INSERT INTO study (spec, create_time) VALUES (x'', 1)").ok());
    ASSERT_TRUE((*made)
                    ->Execute("UPDATE run SET state = 5; DELETE FROM run_count WHERE state < 5;"
                              "UPDATE study SET end_time = 10 - id")
                    .ok());
  }
  auto store = Store::Open(directory.path());
  ASSERT_TRUE(store.ok()) << store.status();
  std::vector<int64_t> order;
  const auto there = (*store)->deletion().ListDeletable();
  for (const auto& study : there->studies) order.push_back(study.study);
  EXPECT_THAT(order, testing::ElementsAre(3, 2, 1));
  EXPECT_EQ((*store)->states().GetStart(2)->bytes, "what it left");
  ASSERT_TRUE((*store)->deletion().Delete(1, "").ok());
  while (*(*store)->deletion().EraseSome()) continue;
  EXPECT_EQ((*store)->states().GetStart(2)->bytes, "what it left");
  EXPECT_TRUE(absl::IsDataLoss((*store)->states().GetStart(3).status()));
}

INSTANTIATE_TEST_SUITE_P(FromLayout, MigrationTest, testing::Range(1, kLayouts + 1));

}  // namespace
}  // namespace gyrebox::store
