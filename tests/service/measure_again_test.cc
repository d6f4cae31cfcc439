// Stored frames measured again equal what the run measured, or would have measured with other settings.
#include "digest/measure_again.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <limits>
#include <map>

#include "answers/answers.h"
#include "digest/digest_cache.h"
#include "example_studies.h"
#include "executor/executor.h"
#include "study/defaults.h"
#include "temporary_directory.h"
#include "test_device.h"
#include "wait_for.h"

namespace gyrebox::analysis {
namespace {

using test::WaitFor;
using testing::HasSubstr;

constexpr int kAll = std::numeric_limits<int>::max();

/// 200 beads whose temperature rises half way; a frame at every second sample.
v1::StudySpec HotStudy() {
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_bed()->set_bead_count(200);
  spec.mutable_measure()->set_frame_interval(0.25);
  spec.clear_schedule();
  for (const double temperature : {0.001, 0.02}) {
    v1::Stage& stage = *spec.mutable_schedule()->add_stages();
    stage.set_duration(1);
    stage.mutable_ramp()->set_temperature(temperature);
  }
  return spec;
}

/// 200 beads whose step is too long: the run rolls back and halves it.
v1::StudySpec RetriedStudy() {
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_bed()->set_bead_count(200);
  spec.mutable_drive()->mutable_sine()->set_amplitude(40);
  spec.mutable_thermal()->set_temperature(0.002);
  spec.mutable_dynamics()->set_time_step(4e-3);
  spec.mutable_retry()->set_max_halvings(4);
  spec.mutable_retry()->set_keep_interval(0.7);  // not a multiple of the frame interval
  spec.mutable_schedule()->set_duration(12);
  spec.mutable_measure()->set_frame_interval(0.25);
  return spec;
}

class MeasureAgainTest : public testing::Test {
 protected:
  /// Runs a study. @return its id.
  int64_t Run(v1::StudySpec spec) {
    study::FillDefaults(&spec);
    EXPECT_TRUE(store_->studies().Create(spec, test::NewRuns(spec), "").ok());
    queue::Queue queue(*store_);
    executor::Executor executor(*store_, *device_, queue, {}, [](int64_t) {});
    executor.Start();
    EXPECT_TRUE(WaitFor([&] { return store_->studies().Get(studies_ + 1)->has_end_time(); }));
    return ++studies_;
  }

  FrameSeries Series(int64_t study, const v1::MeasureAgain& again = {}) {
    const auto run = store_->runs().Get(study, 1);
    auto series = FrameSeries::Open(*store_, study, 1, *run, store_->studies().Get(study)->spec(), again);
    EXPECT_TRUE(series.ok()) << series.status();
    return *std::move(series);
  }

  /// Values of a row by column name.
  static std::map<std::string, std::vector<double>> ByName(const std::vector<v1::Observable>& observables,
                                                           std::span<const double> row) {
    std::map<std::string, std::vector<double>> values;
    size_t column = 2;
    for (const v1::Observable& observable : observables) {
      for (int i = 0; i < observable.width(); ++i) values[observable.name()].push_back(row[column++]);
    }
    return values;
  }

  /// On the CPU the bits are equal; the CUDA backend sums the spectral power in single precision.
  static double Rounding(double value) {
    return std::getenv("GYREBOX_TEST_DEVICE") == nullptr ? 0 : 1e-4 * std::max(1.0, std::abs(value));
  }

  /// Expects frames of one study, measured again, to equal what another study, or the same one, measured at these
  /// steps.
  void ExpectSame(const FrameSeries& series, int64_t measured, int frames) {
    const auto rows = series.Measure(0, kAll);
    ASSERT_TRUE(rows.ok()) << rows.status();
    ASSERT_EQ(rows->size(), static_cast<size_t>(frames));
    const auto stored = store_->series().Read(measured, 1, 0, kAll);
    const auto observables = store_->series().GetObservables(measured, 1);
    int compared = 0;
    size_t k = 0;
    for (size_t i = 0; i < rows->size(); ++i) {
      while (k < stored->size() && stored->row(k)[0] < rows->row(i)[0]) ++k;
      ASSERT_LT(k, stored->size());
      ASSERT_EQ(stored->row(k)[0], rows->row(i)[0]);
      ASSERT_EQ(stored->row(k)[1], rows->row(i)[1]);
      const auto then = ByName(*observables, stored->row(k));
      for (const auto& [name, values] : ByName(series.observables(), rows->row(i))) {
        for (size_t j = 0; j < values.size(); ++j) {
          const double was = then.at(name)[j];
          if (std::isnan(was)) continue;  // the structure columns are in every ninth sample only
          EXPECT_NEAR(values[j], was, Rounding(was)) << name << " at step " << rows->row(i)[0];
          ++compared;
        }
      }
    }
    EXPECT_GT(compared, 20 * frames);
  }

  test::TemporaryDirectory directory_;
  std::unique_ptr<store::Store> store_ = *store::Store::Open(directory_.path());
  std::unique_ptr<kernels::Device> device_ = TestDevice();
  int64_t studies_ = 0;
};

TEST_F(MeasureAgainTest, GivesEveryBitOfWhatTheRunMeasured) { ExpectSame(Series(Run(HotStudy())), 1, 9); }

TEST_F(MeasureAgainTest, FramesOfARunThatRolledBackAreTheFinalOnes) {
  const int64_t study = Run(RetriedStudy());
  EXPECT_GT(store_->runs().Get(study, 1)->recovered_faults_size(), 0);
  ASSERT_EQ(store_->runs().Get(study, 1)->state(), v1::Run::STATE_FINISHED);
  ExpectSame(Series(study), study, 49);
}

// The bond length stays within the cut-offs of the forces: a longer one makes longer lists, and so other rounding.
TEST_F(MeasureAgainTest, WithAnotherBondLengthGivesWhatARunWithThatOneMeasures) {
  Run(HotStudy());
  v1::StudySpec other = HotStudy();
  other.mutable_measure()->set_bond_length(1.15);
  const int64_t study = Run(other);
  v1::MeasureAgain again;
  again.set_bond_length(1.15);
  ExpectSame(Series(1, again), study, 9);
}

TEST_F(MeasureAgainTest, HoldsOnlyObservablesOfPositions) {
  Run(HotStudy());
  const auto had = Series(1).observables();
  const auto all = store_->series().GetObservables(1, 1);
  std::vector<std::string> missing;
  for (const auto& observable : *all) {
    const bool found =
        std::any_of(had.begin(), had.end(), [&](const auto& one) { return one.name() == observable.name(); });
    if (!found) missing.push_back(observable.name());
  }
  EXPECT_THAT(missing, testing::ElementsAre("msd_spinner", "msd_passive", "passive_spin", "drive_power", "lost_beads",
                                            "closest_pair", "largest_move", "friction_residual"));
}

TEST_F(MeasureAgainTest, ThePeakIsSearchedInTheRequestedShells) {
  Run(HotStudy());
  const auto bed = store_->frames().ReadKept(1, 1, 0);
  const double shell = 2 * M_PI / std::max(bed->beads.side_x, bed->beads.side_y);
  v1::MeasureAgain again;
  again.set_first_wave_shell(3);
  again.set_last_wave_shell(4);
  const FrameSeries series = Series(1, again);
  const auto rows = series.Measure(0, kAll);
  for (size_t i = 0; i < rows->size(); ++i) {
    const auto values = ByName(series.observables(), rows->row(i));
    EXPECT_GE(values.at("spinner_structure_peak")[0], 2.5 * shell);
    EXPECT_LE(values.at("spinner_structure_peak")[0], 4.5 * shell);
    const auto& factor = values.at("spinner_structure_factor");
    // Area over height of at most two shells.
    EXPECT_LE(values.at("spinner_structure_width")[0], 2 * shell) << factor[2] << " " << factor[3];
  }
}

TEST_F(MeasureAgainTest, FaultsNameTheirFields) {
  v1::MeasureAgain again;
  again.set_bond_length(0.5);
  again.set_first_wave_shell(9);
  again.set_last_wave_shell(3);
  const auto faults = FaultsOf(again, "measure");
  ASSERT_EQ(faults.size(), 2u);
  EXPECT_EQ(faults[0].field(), "measure.bond_length");
  EXPECT_THAT(faults[0].description(), HasSubstr("at least 1"));
  EXPECT_EQ(faults[1].field(), "measure.last_wave_shell");
  EXPECT_THAT(faults[1].description(), HasSubstr("3 is below first_wave_shell, which is 9"));
}

TEST_F(MeasureAgainTest, AnswersFollowTheMeasureOptionsAndTheCacheDistinguishesThem) {
  v1::StudySpec spec = HotStudy();
  spec.mutable_trials()->set_count(2);
  const int64_t study = Run(spec);
  DigestCache cache;
  v1::AnalysisOptions options;
  ASSERT_TRUE(FillOptions(&options).ok());
  const auto size = [&](const v1::AnalysisOptions& asked) {
    const auto answers = Analyse(*store_, study, asked, &cache);
    EXPECT_TRUE(answers.ok()) << answers.status();
    for (const v1::Answer& answer : answers->answers()) {
      if (answer.topic() != v1::Answer::TOPIC_PLATEAUS) continue;
      EXPECT_TRUE(answer.why_not().empty()) << answer.why_not();
      for (int c = 0; c < answer.plots(0).columns_size(); ++c) {
        if (answer.plots(0).columns(c).name() == "size") return answer.plots(0).rows(0).values(c);
      }
    }
    return std::nan("");
  };
  const double as_run = size(options);
  v1::AnalysisOptions again = options;
  again.mutable_measure_again()->set_bond_length(1.6);
  EXPECT_GT(size(again), as_run);  // longer bonds join more beads
  EXPECT_EQ(size(options), as_run);
  const auto answers = Analyse(*store_, study, again, &cache);
  EXPECT_THAT(answers->answers(0).cautions(answers->answers(0).cautions_size() - 1),
              HasSubstr("measured again on the kept frames with a cluster cutoff of 1.6 sigma"));
  again.mutable_measure_again()->set_bond_length(7);
  EXPECT_THAT(std::string(FillOptions(&again).message()),
              HasSubstr("options.measure_again.bond_length: 7 is too large"));
}

TEST_F(MeasureAgainTest, RunsWithoutFramesAreExcludedWithTheReason) {
  v1::StudySpec spec = HotStudy();
  spec.mutable_measure()->clear_frame_interval();
  const int64_t study = Run(spec);
  v1::AnalysisOptions options;
  options.mutable_measure_again()->set_bond_length(1.5);
  ASSERT_TRUE(FillOptions(&options).ok());
  const auto answers = Analyse(*store_, study, options);
  ASSERT_TRUE(answers.ok()) << answers.status();
  bool told = false;
  for (const v1::Answer& answer : answers->answers()) {
    for (const v1::LeftOut& left_out : answer.left_out()) {
      told = true;
      EXPECT_EQ(left_out.reason(), "keeps no frames to measure again");
    }
  }
  EXPECT_TRUE(told);
}

}  // namespace
}  // namespace gyrebox::analysis
