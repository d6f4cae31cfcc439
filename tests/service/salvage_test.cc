// Stores with physically damaged pages: everything readable is saved, and losses are listed.
#include "store/salvage.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <set>

#include "example_studies.h"
#include "store/backup.h"
#include "store/integrity.h"
#include "store/store.h"
#include "temporary_directory.h"

namespace gyrebox::store {
namespace {

using test::AmplitudeStudy;
using test::NewRuns;
using testing::HasSubstr;
using testing::IsEmpty;

constexpr size_t kPage = 4096;

/// The readable contents of a store, one line each.
using Lines = std::map<std::string, std::string>;

std::string ReadAll(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

void WriteAll(const std::string& path, const std::string& bytes) { std::ofstream(path, std::ios::binary) << bytes; }

class SalvageTest : public testing::Test {
 protected:
  /// Studies that use everything a store holds: finished, running, held and queued runs, with samples (some longer than
  /// a page), frames, states, journals, labels, notes, requests and tokens.
  void Fill(int studies) {
    auto opened = Store::Open(From());
    ASSERT_TRUE(opened.ok()) << opened.status();
    Store& store = **opened;
    for (int i = 0; i < studies; ++i) {
      v1::StudySpec spec = AmplitudeStudy({4, 8}, 3);
      spec.mutable_audit()->set_max_cost(1);  // repeats the three runs of the last point
      if (i > 0) spec.mutable_start()->mutable_saved()->set_run("studies/1/runs/1/states/4000");
      const auto study = store.studies().Create(spec, NewRuns(spec), "once-" + std::to_string(i), "anna");
      ASSERT_TRUE(study.ok()) << study.status();
      ASSERT_NO_FATAL_FAILURE(FillOne(store, i + 1));
      v1::Token token;
      token.set_user("anna");
      token.set_role(v1::Token::ROLE_MEMBER);
      ASSERT_TRUE(store.users().AddToken(token, "hash " + std::to_string(i)).ok());
    }
  }

  static RunUpdate Update(int64_t number, int64_t first, int count) {
    RunUpdate update;
    update.number = number;
    update.state = v1::Run::STATE_RUNNING;
    update.step = first + count;
    update.time = static_cast<double>(update.step);
    update.samples.width = 4;
    std::mt19937_64 random(static_cast<uint64_t>(number * 1000 + first));
    for (int64_t step = first; step < first + count; ++step) {
      const auto at = static_cast<double>(step);
      const auto noise = static_cast<double>(random()) / 1e19;  // incompressible
      update.samples.numbers.insert(update.samples.numbers.end(), {at, at, noise, 20 * at});
    }
    return update;
  }

  static void FillOne(Store& store, int64_t id) {
    const std::vector<int64_t> numbers = {1, 2, 3, 4};
    ASSERT_TRUE(store.queue().Start(id, numbers, "cpu").ok());
    std::vector<v1::Observable> columns(2);
    for (auto& column : columns) column.set_width(1);
    const std::vector<std::vector<v1::Observable>> observables(numbers.size(), columns);
    ASSERT_TRUE(store.series().SetObservables(id, numbers, observables).ok());
    for (int part = 0; part < 3; ++part) {
      std::vector<RunUpdate> updates;
      for (const int64_t number : numbers) {
        RunUpdate update = Update(number, part * 600, 600);
        Frame& frame = update.frames.emplace_back();
        frame.step = part * 600 + 100;
        frame.beads = {.side_x = 3, .side_y = 3, .x = {7, 8}, .y = {8, 9}, .angle = {9, 1}, .spinner = {1, 0}};
        const std::string state = "state " + std::to_string(number) + " " + std::to_string(part);
        if (number <= 2 && part == 2) {
          update.state = v1::Run::STATE_FINISHED;
          update.step = 4000;
          update.end_state = BedBytes{.bytes = state, .side_x = 1, .side_y = 1};
        } else {
          update.checkpoint = BedBytes{
              .bytes = state, .side_x = 1, .side_y = 1, .step = update.step, .time = static_cast<double>(update.step)};
        }
        if (part == 0) {
          update.entry.emplace().set_user("anna");
          update.entry->set_kind(v1::Adjustment::KIND_CHANGE);
        }
        updates.push_back(std::move(update));
      }
      ASSERT_TRUE(store.runs().RecordProgress(id, updates).ok());
    }
    RunUpdate paused = Update(4, 1800, 0);
    paused.state = v1::Run::STATE_PAUSED;
    ASSERT_TRUE(store.runs().RecordProgress(id, std::vector{paused}).ok());
    ASSERT_TRUE(store.studies().Update(id, {"a note", std::vector<std::string>{"film"}}, "", "anna").ok());
  }

  /// Reads everything that users may request from a store.
  static Lines Read(Store& store) {
    Lines lines;
    const auto studies = store.studies().List(1'000'000, 1000);
    EXPECT_TRUE(studies.ok()) << studies.status();
    for (v1::Study study : *studies) {
      const int64_t id = std::stoll(study.name().substr(8));
      lines[study.name()] = study.spec().SerializeAsString() + study.owner();
      lines[study.name() + " words"] = study.note() + (study.labels_size() > 0 ? study.labels(0) : "");
      if (const auto start = store.states().GetStart(id); start.ok()) lines[study.name() + " start"] = start->bytes;
      const auto runs = store.runs().List(id, 0, 1000);
      EXPECT_TRUE(runs.ok());
      for (const v1::Run& run : *runs) {
        const int64_t number = std::stoll(run.name().substr(run.name().rfind('/') + 1));
        lines[run.name()] =
            run.seeds().SerializeAsString() + std::to_string(run.trial()) + (run.audit() ? " audit" : "");
        if (run.audit()) lines[run.name()] += " of " + std::to_string(run.total_steps()) + " steps";
        const auto rows = store.series().Read(id, number, 0, 100'000);
        EXPECT_TRUE(rows.ok()) << run.name() << rows.status();
        EXPECT_EQ(static_cast<int64_t>(rows->size()), run.sample_count()) << run.name();
        for (size_t i = 0; i < rows->size(); ++i) {
          const auto row = rows->row(i);
          lines[run.name() + " sample " + std::to_string(i)] =
              std::string(reinterpret_cast<const char*>(row.data()), row.size_bytes());
        }
        if (rows->size() > 0) {
          EXPECT_EQ(store.series().GetObservables(id, number)->size(), 2u) << run.name();
        }
        const auto frames = store.frames().List(id, number, 0, 1000);
        for (const FrameStamp& stamp : *frames) {
          const auto frame = store.frames().ReadKept(id, number, stamp.step);
          EXPECT_TRUE(frame.ok()) << frame.status();
          lines[run.name() + " frame " + std::to_string(stamp.step)] = std::to_string(frame->beads.x[0]);
        }
        const auto journal = store.journals().Get(id, number);
        for (const auto& entry : *journal) lines[entry.name()] = entry.user();
        if (const auto end = store.states().GetEnd(id, number); end.ok()) lines[run.name() + " end"] = end->bytes;
        const auto checkpoint = store.states().GetCheckpoint(id, number);
        EXPECT_TRUE(checkpoint.ok()) << checkpoint.status();
        const int64_t reached = checkpoint->has_value() ? (*checkpoint)->bed.step : 0;
        if (run.state() < v1::Run::STATE_FINISHED) {
          EXPECT_EQ(run.step(), reached) << run.name();
        }
      }
    }
    const auto tokens = store.users().ListTokens();
    for (const auto& token : *tokens) lines[token.token.name()] = token.hash;
    return lines;
  }

  Lines ReadFrom(const std::string& directory) {
    auto store = Store::Open(directory);
    EXPECT_TRUE(store.ok()) << store.status();
    return store.ok() ? Read(**store) : Lines();
  }

  /// Moves the write-ahead log into the database file, so that its pages can be damaged.
  void EmptyLog() const {
    auto connection = Connection::Open(From() + "/gyrebox.db", Connection::Mode::kWrite);
    ASSERT_TRUE((*connection)->Execute("PRAGMA wal_checkpoint(TRUNCATE)").ok());
  }

  /// Table or index of each page, with its page type; from the intact store.
  std::map<int64_t, std::string> PagesOf() const {
    std::map<int64_t, std::string> pages;
    auto connection = Connection::Open(From() + "/gyrebox.db", Connection::Mode::kRead);
    auto rows = (*connection)->Prepare("SELECT pageno, name || ' ' || pagetype FROM dbstat");
    while (rows.Next()) pages[rows.Int(0)] = rows.Text(1);
    EXPECT_TRUE(rows.status().ok()) << rows.status();
    return pages;
  }

  std::string From() const { return directory_.path() + "/from"; }
  std::string To() const { return directory_.path() + "/to"; }

  /// Salvages the database with these bytes.
  Salvaged SalvageWith(const std::string& bytes) {
    WriteAll(From() + "/gyrebox.db", bytes);
    std::filesystem::remove_all(To());
    const auto salvaged = Salvage(From(), To());
    EXPECT_TRUE(salvaged.ok()) << salvaged.status();
    return salvaged.ok() ? *salvaged : Salvaged();
  }

  static void ExpectSound(const std::string& directory) {
    auto database = OpenChecked(directory + "/gyrebox.db");
    ASSERT_TRUE(database.ok()) << database.status();
    auto broken = (*database)->Prepare("PRAGMA foreign_key_check");
    EXPECT_FALSE(broken.Next()) << broken.Text(0) << " " << broken.Int(1) << " " << broken.Text(2);
    auto integrity = (*database)->Prepare("PRAGMA integrity_check");
    ASSERT_TRUE(integrity.Next());
    EXPECT_EQ(integrity.Text(0), "ok");
  }

  test::TemporaryDirectory directory_;
};

/// Names of lines that are absent from `there` or differ there.
std::set<std::string> Missing(const Lines& all, const Lines& there) {
  std::set<std::string> missing;
  for (const auto& [name, line] : all) {
    const auto found = there.find(name);
    if (found == there.end() || found->second != line) missing.insert(name);
  }
  return missing;
}

TEST_F(SalvageTest, AnIntactStoreIsSavedCompletely) {
  ASSERT_NO_FATAL_FAILURE(Fill(2));
  const auto salvaged = Salvage(From(), To());  // including what is still in the log
  ASSERT_TRUE(salvaged.ok()) << salvaged.status();
  EXPECT_THAT(salvaged->lost, IsEmpty());
  EXPECT_EQ(salvaged->studies, 2);
  EXPECT_EQ(salvaged->runs, 18);
  ExpectSound(To());
  const Lines saved = ReadFrom(To());
  EXPECT_GT(saved.size(), 14'000u);
  EXPECT_TRUE(saved == ReadFrom(From()));
  auto store = Store::Open(To());
  EXPECT_EQ((*store)->runs().Get(1, 3)->state(), v1::Run::STATE_QUEUED);
  EXPECT_EQ((*store)->runs().Get(1, 4)->state(), v1::Run::STATE_PAUSED);
  EXPECT_EQ((*store)->runs().Get(1, 5)->state(), v1::Run::STATE_QUEUED);
  EXPECT_FALSE((*store)->runs().Get(1, 6)->audit());
  EXPECT_TRUE((*store)->runs().Get(1, 7)->audit());
  EXPECT_EQ((*store)->runs().Get(1, 9)->total_steps(), 8000);
  EXPECT_EQ((*store)->requests().Find({"once-0", "anna", ""})->value().study, 1);
  const auto next = AmplitudeStudy({4}, 1);
  EXPECT_EQ((*store)->studies().Create(next, NewRuns(next), "")->name(), "studies/3");
  auto sound = Store::Open(From());
  EXPECT_EQ(*(*store)->space().BytesOf("anna"), *(*sound)->space().BytesOf("anna"));
}

TEST_F(SalvageTest, RefusesAStoreInUseAndADirectoryThatIsNotEmpty) {
  ASSERT_NO_FATAL_FAILURE(Fill(1));
  {
    const auto used = Store::Open(From());
    EXPECT_THAT(std::string(Salvage(From(), To()).status().message()), HasSubstr("stop it first"));
  }
  EXPECT_TRUE(absl::IsFailedPrecondition(Salvage(From(), From()).status()));
  EXPECT_TRUE(absl::IsNotFound(Salvage(directory_.path() + "/none", To()).status()));
}

// Each page in turn is overwritten with zeros, ones and noise: salvage finishes, its result is sound, and everything on
// other pages is saved. SQLite's dbstat table gives the contents of each page.
class EveryPageTest : public SalvageTest, public testing::WithParamInterface<int> {};

TEST_P(EveryPageTest, CostsNoMoreThanItsContents) {
  ASSERT_NO_FATAL_FAILURE(Fill(1));
  ASSERT_NO_FATAL_FAILURE(EmptyLog());
  const Lines all = ReadFrom(From());
  ASSERT_NO_FATAL_FAILURE(EmptyLog());
  const auto pages = PagesOf();
  const std::string sound = ReadAll(From() + "/gyrebox.db");
  std::mt19937_64 random(7);
  ASSERT_GT(sound.size(), 30 * kPage);
  for (size_t page = 0; page < sound.size() / kPage; ++page) {
    std::string bytes = sound;
    for (size_t i = 0; i < kPage; ++i) {
      const int noise = static_cast<int>(random() & 0xFF);
      bytes[page * kPage + i] = static_cast<char>(GetParam() < 0 ? noise : GetParam());
    }
    const auto salvaged = SalvageWith(bytes);
    const auto named = pages.find(static_cast<int64_t>(page) + 1);
    const std::string what = named == pages.end() ? "free" : named->second;
    SCOPED_TRACE("page " + std::to_string(page + 1) + ", " + what);
    ASSERT_NO_FATAL_FAILURE(ExpectSound(To()));
    const auto missing = Missing(all, ReadFrom(To()));
    if (!missing.empty()) {
      EXPECT_FALSE(salvaged.lost.empty()) << *missing.begin();
    }
    // Indexes, counts, the schema and inner pages can be rebuilt without loss.
    const bool makes_again = what.find("autoindex") != std::string::npos || what.find("_by_") != std::string::npos ||
                             what.starts_with("sqlite_") || what.starts_with("run_count") ||
                             what.starts_with("run_queued") || what.starts_with("run_excluded") ||
                             what.starts_with("owner_bytes") || what.starts_with("identity") ||
                             what.starts_with("user") || what.starts_with("request") || what == "free" ||
                             (what.find("internal") != std::string::npos && what.starts_with("segment"));
    if (makes_again) {
      EXPECT_TRUE(missing.empty()) << *missing.begin() << " and " << missing.size() - 1 << " more";
    }
    // A page of samples affects one run only, a page of frames only frames, and so on.
    std::set<std::string> runs;
    for (const std::string& line : missing) {
      if (what.starts_with("segment")) {
        EXPECT_THAT(line, testing::AnyOf(HasSubstr(" sample "), HasSubstr(" frame ")));
      }
      if (what.starts_with("frame")) {
        EXPECT_THAT(line, HasSubstr(" frame "));
      }
      if (what.starts_with("token")) {
        EXPECT_THAT(line, HasSubstr("tokens/"));
      }
      if (what.starts_with("segment")) runs.insert(line.substr(0, line.find(' ')));
    }
    if (what == "segment overflow") {
      EXPECT_LE(runs.size(), 1u);
    }
  }
}

INSTANTIATE_TEST_SUITE_P(With, EveryPageTest, testing::Values(0, 0xFF, -1));

TEST_F(SalvageTest, AStateThatIsDamagedCostsThatState) {
  ASSERT_NO_FATAL_FAILURE(Fill(2));
  WriteAll(From() + "/states/1-3-1800.checkpoint", "state 3 3");
  std::filesystem::remove(From() + "/states/1-2-4000.end");
  std::filesystem::remove(From() + "/states/2-start");  // another link to the same file
  const auto salvaged = Salvage(From(), To());
  ASSERT_TRUE(salvaged.ok()) << salvaged.status();
  EXPECT_THAT(salvaged->lost, testing::UnorderedElementsAre("studies/1/runs/3: its checkpoint at step 1800",
                                                            "studies/1/runs/2: the state that it left at step 4000"));
  EXPECT_THAT(ReadAll(To() + "/salvage.txt"), HasSubstr("2 studies, 18 runs.\nLost:\nstudies/1/runs/"));
  auto store = Store::Open(To());
  EXPECT_EQ((*store)->runs().Get(1, 3)->step(), 1200);  // resumes from the previous one
  EXPECT_EQ((*store)->runs().Get(1, 3)->sample_count(), 1200);
  EXPECT_EQ((*store)->states().GetStart(2)->bytes, "state 1 2");  // restored from the source run
}

TEST_F(SalvageTest, ManyBadPagesAtOnceEndAndLeaveASoundStore) {
  ASSERT_NO_FATAL_FAILURE(Fill(3));
  ASSERT_NO_FATAL_FAILURE(EmptyLog());
  const std::string sound = ReadAll(From() + "/gyrebox.db");
  std::mt19937_64 random(11);
  for (int round = 0; round < 20; ++round) {
    std::string bytes = sound;
    for (int i = 0; i < 60; ++i) {
      const size_t at = random() % (bytes.size() - 64);
      for (size_t k = 0; k < 64; ++k) bytes[at + k] = static_cast<char>(random());
    }
    SalvageWith(bytes);
    SCOPED_TRACE(round);
    ASSERT_NO_FATAL_FAILURE(ExpectSound(To()));
    auto store = Store::Open(To());
    ASSERT_TRUE(store.ok()) << store.status();
  }
}

TEST_F(SalvageTest, TheAdviceForADamagedDatabaseNamesIt) {
  ASSERT_NO_FATAL_FAILURE(Fill(1));
  ASSERT_NO_FATAL_FAILURE(EmptyLog());
  std::string bytes = ReadAll(From() + "/gyrebox.db");
  std::fill(bytes.begin() + 2 * kPage, bytes.begin() + 9 * kPage, '\0');
  WriteAll(From() + "/gyrebox.db", bytes);
  const auto refused = Store::Open(From()).status();
  EXPECT_TRUE(absl::IsDataLoss(refused)) << refused;
  EXPECT_THAT(std::string(refused.message()), HasSubstr("--salvage"));
  EXPECT_EQ(ReadAll(From() + "/gyrebox.db"), bytes);
}

}  // namespace
}  // namespace gyrebox::store
