// Identity of a store, and copies of it: beside a server that writes, and before a change.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <atomic>
#include <filesystem>
#include <fstream>
#include <thread>

#include "example_studies.h"
#include "store/backup.h"
#include "store/store.h"
#include "temporary_directory.h"

namespace gyrebox::store {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;
using testing::HasSubstr;

std::string ReadAll(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

RunUpdate At(int64_t number, v1::Run::State state, int64_t step) {
  RunUpdate update;
  update.number = number;
  update.state = state;
  update.step = step;
  update.time = static_cast<double>(step);
  return update;
}

class StoreCopyTest : public testing::Test {
 protected:
  /// Creates a store with a study whose first run left a state.
  void Make(const std::string& directory) {
    auto opened = Store::Open(directory);
    ASSERT_TRUE(opened.ok()) << opened.status();
    Store& store = **opened;
    const v1::StudySpec spec = AmplitudeStudy({4}, 2);
    ASSERT_TRUE(store.studies().Create(spec, NewRuns(spec), "").ok());
    ASSERT_TRUE(store.queue().Start(1, std::vector<int64_t>{1, 2}, "cpu").ok());
    RunUpdate update = At(1, v1::Run::STATE_FINISHED, 4000);
    update.end_state = BedBytes{.bytes = "left", .side_x = 1, .side_y = 1};
    ASSERT_TRUE(store.runs().RecordProgress(1, std::vector{update}).ok());
  }

  /// The reason why a directory is refused; expects its files to be unchanged.
  static std::string Refused(const std::string& directory) {
    const auto opened = Store::Open(directory).status();
    EXPECT_TRUE(absl::IsFailedPrecondition(opened)) << opened;
    EXPECT_EQ(ReadAll(directory + "/states/1-1-4000.end"), "left");
    EXPECT_FALSE(std::filesystem::exists(directory + "/lost"));
    return std::string(opened.message());
  }

  static void Remove(const std::string& directory) {
    for (const char* file : {"/gyrebox.db", "/gyrebox.db-wal", "/gyrebox.db-shm"}) {
      std::filesystem::remove(directory + file);
    }
  }

  /// Appends samples and checkpoints to run 2 as a server does.
  static RunUpdate Step(int64_t part) {
    RunUpdate update = At(2, v1::Run::STATE_RUNNING, 10 * (part + 1));
    update.samples.width = 3;
    for (int64_t step = 10 * part; step < 10 * (part + 1); ++step) {
      const auto at = static_cast<double>(step);
      update.samples.numbers.insert(update.samples.numbers.end(), {at, at, 7 * at});
    }
    update.checkpoint = BedBytes{.bytes = "state " + std::to_string(update.step),
                                 .side_x = 1,
                                 .side_y = 1,
                                 .step = update.step,
                                 .time = update.time};
    return update;
  }

  test::TemporaryDirectory directory_;
  const std::string data_ = directory_.path() + "/data", copy_ = directory_.path() + "/copy";
};

TEST_F(StoreCopyTest, ADirectoryWithoutItsDatabaseIsRefusedAndUnchanged) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  Remove(data_);
  EXPECT_THAT(Refused(data_), HasSubstr("is not there. Nothing was changed. Put the database back"));
  std::ofstream(data_ + "/gyrebox.db");
  EXPECT_THAT(Refused(data_), HasSubstr("is empty"));
  std::filesystem::remove(data_ + "/identity");
  EXPECT_THAT(Refused(data_), HasSubstr("is empty"));
  ASSERT_TRUE((*Connection::Open(data_ + "/gyrebox.db", Connection::Mode::kWrite))->Execute("VACUUM").ok());
  EXPECT_THAT(Refused(data_), HasSubstr("holds nothing"));
}

TEST_F(StoreCopyTest, ADatabaseOfAnotherStoreOrProgramIsRefused) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  ASSERT_NO_FATAL_FAILURE(Make(copy_));
  Remove(data_);
  std::filesystem::copy_file(copy_ + "/gyrebox.db", data_ + "/gyrebox.db");
  EXPECT_THAT(Refused(data_), HasSubstr("and the directory that of store"));
  Remove(data_);
  ASSERT_TRUE((*Connection::Open(data_ + "/gyrebox.db", Connection::Mode::kWrite))
                  ->Execute("CREATE TABLE customer (id INTEGER)")
                  .ok());
  EXPECT_THAT(Refused(data_), HasSubstr("is no database of this server"));
}

TEST_F(StoreCopyTest, AnIdThatIsMissingIsWrittenAgain) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  const std::string id = ReadAll(data_ + "/identity");
  EXPECT_EQ(id.size(), 33u);
  std::filesystem::remove(data_ + "/identity");
  ASSERT_TRUE(Store::Open(data_).ok());
  EXPECT_EQ(ReadAll(data_ + "/identity"), id);
}

TEST_F(StoreCopyTest, FilesThatTheDatabaseDoesNotKnowAreMovedAndNeverDeleted) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  for (const char* text : {"first", "second"}) {
    std::ofstream(data_ + "/states/9-9-1.end") << text;
    ASSERT_TRUE(Store::Open(data_).ok());
  }
  EXPECT_EQ(ReadAll(data_ + "/lost/9-9-1.end"), "first");
  EXPECT_EQ(ReadAll(data_ + "/lost/9-9-1.end~2"), "second");
  EXPECT_EQ(ReadAll(data_ + "/states/1-1-4000.end"), "left");
}

TEST_F(StoreCopyTest, NobodyElseCanReadTheCopies) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  const auto store = Store::Open(data_);
  ASSERT_TRUE(store.ok());
  int count = 0;
  for (const auto& entry : std::filesystem::recursive_directory_iterator(data_)) {
    struct stat found {};
    ASSERT_EQ(stat(entry.path().c_str(), &found), 0);
    EXPECT_EQ(found.st_mode & 0777, entry.is_directory() ? 0700u : 0600u) << entry.path();
    ++count;
  }
  EXPECT_GT(count, 5);
}

// The server writes continuously, and drops checkpoints during the copy.
TEST_F(StoreCopyTest, ABackupBesideAWriterIsConsistentAndContinuesIdentically) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  constexpr int64_t kParts = 400;
  const auto store = Store::Open(data_);
  ASSERT_TRUE(store.ok());
  ASSERT_TRUE((*store)->queue().Start(1, std::vector<int64_t>{2}, "cpu").ok());
  std::atomic<int64_t> part = 0;
  std::atomic<bool> enough = false;
  std::thread writer([&] {
    for (; part < kParts && !enough; ++part)
      ASSERT_TRUE((*store)->runs().RecordProgress(1, std::vector{Step(part)}).ok());
  });
  while (part < 5) std::this_thread::yield();
  for (int i = 0; i < 3; ++i) {
    const std::string to = copy_ + std::to_string(i);
    const int64_t before = part;
    const auto copied = Backup(data_, to);
    const int64_t after = part + 1;
    ASSERT_TRUE(copied.ok()) << copied.status();
    EXPECT_TRUE(copied->damaged.empty());
    EXPECT_EQ(copied->states, 3);  // two checkpoints, and the final state of run 1
    auto opened = Store::Open(to);
    ASSERT_TRUE(opened.ok()) << opened.status();
    EXPECT_FALSE(std::filesystem::exists(to + "/lost"));
    EXPECT_EQ(ReadAll(to + "/identity"), ReadAll(data_ + "/identity"));
    const auto checkpoint = (*opened)->states().GetCheckpoint(1, 2);
    ASSERT_TRUE(checkpoint.ok() && checkpoint->has_value()) << checkpoint.status();
    const int64_t step = (*checkpoint)->bed.step;
    EXPECT_EQ((*checkpoint)->bed.bytes, "state " + std::to_string(step));
    EXPECT_GE(step, 10 * before);
    EXPECT_LE(step, 10 * after);
    EXPECT_EQ((*opened)->runs().Get(1, 2)->sample_count(), step);
    // The copy continues from there.
    ASSERT_TRUE((*opened)->queue().Start(1, std::vector<int64_t>{2}, "cpu").ok());
    ASSERT_TRUE((*opened)->runs().RecordProgress(1, std::vector{Step(step / 10)}).ok());
    const auto rows = (*opened)->series().Read(1, 2, 0, 100'000);
    ASSERT_EQ(static_cast<int64_t>(rows->size()), step + 10);
    for (int64_t at = 0; at < step + 10; ++at) {
      ASSERT_EQ(rows->row(static_cast<size_t>(at))[2], 7.0 * static_cast<double>(at));
    }
    EXPECT_EQ((*opened)->states().GetEnd(1, 1)->bytes, "left");
  }
  enough = true;
  writer.join();
}

TEST_F(StoreCopyTest, ABackupIsAtomicAndNeverReplacesAnother) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  ASSERT_TRUE(Backup(data_, copy_).ok());
  EXPECT_TRUE(absl::IsFailedPrecondition(Backup(data_, copy_).status()));
  EXPECT_TRUE(absl::IsFailedPrecondition(Backup(directory_.path() + "/none", copy_ + "2").status()));
  EXPECT_FALSE(std::filesystem::exists(copy_ + "2"));
  EXPECT_FALSE(std::filesystem::exists(directory_.path() + "/none"));
  // A damaged file is omitted and reported.
  std::ofstream(data_ + "/states/1-1-4000.end") << "Left";
  const auto copied = Backup(data_, copy_ + "3");
  ASSERT_TRUE(copied.ok());
  EXPECT_THAT(copied->damaged, testing::ElementsAre("1-1-4000.end"));
  EXPECT_FALSE(std::filesystem::exists(copy_ + "3/states/1-1-4000.end"));
}

// A copy may share files with its source; these are never written to.
TEST_F(StoreCopyTest, ChangesInACopyLeaveTheStoreUnchanged) {
  ASSERT_NO_FATAL_FAILURE(Make(data_));
  ASSERT_TRUE(Backup(data_, copy_).ok());
  {
    auto copy = Store::Open(copy_);
    ASSERT_TRUE((*copy)->studies().Cancel(1).ok());
    ASSERT_TRUE((*copy)->deletion().Delete(1, "").ok());
    while (*(*copy)->deletion().EraseSome()) continue;
    EXPECT_FALSE(std::filesystem::exists(copy_ + "/states/1-1-4000.end"));
  }
  auto store = Store::Open(data_);
  EXPECT_EQ((*store)->states().GetEnd(1, 1)->bytes, "left");
}

// Bytes on the disk, each counted as it is written and deleted.
TEST_F(StoreCopyTest, BytesOfAnOwnerMatchTheStoredBytesAndReturnToZero) {
  const auto store = Store::Open(data_);
  const v1::StudySpec spec = AmplitudeStudy({4}, 1);
  ASSERT_TRUE((*store)->studies().Create(spec, NewRuns(spec), "", "anna").ok());
  const auto bytes = [&] { return *(*store)->space().BytesOf("anna"); };
  const int64_t recipe = static_cast<int64_t>(spec.SerializeAsString().size());
  EXPECT_EQ(bytes(), recipe + 256);
  ASSERT_TRUE((*store)->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  RunUpdate update = At(1, v1::Run::STATE_RUNNING, 10);
  update.checkpoint = BedBytes{.bytes = std::string(1000, 'c'), .side_x = 1, .side_y = 1, .step = 10, .time = 10};
  Frame& frame = update.frames.emplace_back();
  frame.beads = {.side_x = 3, .side_y = 3, .x = {7}, .y = {8}, .angle = {9}, .spinner = {1}};
  update.entry.emplace().set_user("anna");
  const auto entry = static_cast<int64_t>(update.entry->ByteSizeLong());
  ASSERT_TRUE((*store)->runs().RecordProgress(1, std::vector{update}).ok());
  const int64_t with_all = recipe + 256 + 1000 + 12 + 1 + entry;
  EXPECT_EQ(bytes(), with_all);
  ASSERT_TRUE((*store)->states().KeepCheckpoint(1, 1).ok());  // another reference to the same file
  EXPECT_EQ(bytes(), with_all);
  ASSERT_TRUE((*store)->studies().Update(1, {"four", std::nullopt}, "", "anna").ok());
  EXPECT_EQ(bytes(), with_all + 4 + static_cast<int64_t>(std::string("changed its note").size()));
  EXPECT_EQ((*store)->studies().Get(1)->stored_byte_count(), bytes());
  RunUpdate end = At(1, v1::Run::STATE_CANCELLED, 20);
  ASSERT_TRUE((*store)->runs().RecordProgress(1, std::vector{end}).ok());
  EXPECT_EQ(bytes(), with_all + 20);  // the checkpoint's row is gone, the saved state remains
  ASSERT_TRUE((*store)->deletion().Delete(1, "").ok());
  EXPECT_EQ(bytes(), 0);
  while (*(*store)->deletion().EraseSome()) continue;
  EXPECT_EQ(bytes(), 0);
  EXPECT_TRUE((*store)->space().StoredBytes()->empty());
}

TEST_F(StoreCopyTest, OversizedItemsAreNotStored) {
  const auto store = Store::Open(data_);
  const v1::StudySpec spec = AmplitudeStudy({4}, 2);
  (*store)->space().SetBounds({.open_runs = 3});
  ASSERT_TRUE((*store)->studies().Create(spec, NewRuns(spec), "", "anna").ok());
  EXPECT_TRUE(absl::IsResourceExhausted((*store)->studies().Create(spec, NewRuns(spec), "", "anna").status()));
  EXPECT_TRUE((*store)->studies().Create(spec, NewRuns(spec), "", "ben").ok());
  (*store)->space().SetBounds({.stored_bytes = *(*store)->space().BytesOf("anna") + 100});
  EXPECT_TRUE(absl::IsResourceExhausted((*store)->studies().Create(spec, NewRuns(spec), "", "anna").status()));
  EXPECT_TRUE(absl::IsResourceExhausted(
      (*store)->studies().Grow(1, {spec, NewRuns(spec), {}, "more"}, "", "", "anna").status()));
  EXPECT_EQ((*store)->studies().Get(1)->run_counts().total_count(), 2);
  ASSERT_TRUE((*store)->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
  const BedBytes large{.bytes = std::string(1000, 's'), .side_x = 1, .side_y = 1, .step = 7};
  EXPECT_TRUE(absl::IsResourceExhausted((*store)->states().Keep(1, 1, large).status()));
  EXPECT_TRUE((*store)->states().ListSaved(1, 1)->empty());
  EXPECT_FALSE(std::filesystem::exists(data_ + "/states/1-1-7.kept"));
  (*store)->space().SetBounds({.reserve = int64_t{1} << 62});
  EXPECT_THAT(std::string((*store)->studies().Create(spec, NewRuns(spec), "", "anna").status().message()),
              HasSubstr("are kept free for runs under way"));
  EXPECT_GT((*store)->space().FreeDisk(), 0);
  EXPECT_EQ((*store)->studies().List(100, 10)->size(), 2u);
}

TEST_F(StoreCopyTest, ARequestIsKeyedByUserMethodAndContent) {
  const v1::StudySpec spec = AmplitudeStudy({4}, 1);
  {
    const auto store = Store::Open(data_);
    const auto create = [&](const std::string& user, const std::string& hash) {
      return (*store)->studies().Create(spec, NewRuns(spec), {"id", user, "CreateStudyRequest", hash}, user);
    };
    EXPECT_EQ(create("anna", "h1")->name(), "studies/1");
    EXPECT_EQ(create("ben", "h2")->name(), "studies/2");
    EXPECT_EQ(create("anna", "h1")->name(), "studies/1");
    EXPECT_TRUE(absl::IsAlreadyExists(create("anna", "h2").status()));
    // An adjustment: a repeated request returns its first entry, also after a restart.
    ASSERT_TRUE((*store)->queue().Start(1, std::vector<int64_t>{1}, "cpu").ok());
    JournalWrite write{.number = 1, .entry = {}, .before = v1::Run::STATE_RUNNING};
    write.entry.set_user("anna");
    write.entry.set_step(17);
    const Request request("id", "anna", "AdjustRunsRequest", "h3");
    ASSERT_TRUE((*store)->journals().Write(1, std::vector{write}, request).ok());
    write.entry.set_step(18);
    ASSERT_TRUE((*store)->journals().Write(1, std::vector{write}).ok());
  }
  const auto store = Store::Open(data_);
  const auto made = (*store)->requests().Find({"id", "anna", "AdjustRunsRequest", "h3"});
  ASSERT_TRUE(made.ok() && made->has_value()) << made.status();
  EXPECT_EQ((*made)->count, 1);
  const auto entries = (*store)->journals().GetEntries(**made);
  ASSERT_EQ(entries->size(), 1u);
  EXPECT_EQ(entries->front().step(), 17);
  EXPECT_EQ(entries->front().name(), "studies/1/runs/1/adjustments/1");
  EXPECT_TRUE(absl::IsAlreadyExists((*store)->requests().Find({"id", "anna", "AdjustRunsRequest", "h4"}).status()));
  EXPECT_FALSE((*store)->requests().Find({"id", "anna", "ExtendRunRequest", "h3"})->has_value());
}

}  // namespace
}  // namespace gyrebox::store
