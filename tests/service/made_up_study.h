/// A stored study whose runs have measured values chosen by a test.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <memory>
#include <random>
#include <string>
#include <vector>

#include "digest/stages.h"
#include "example_studies.h"
#include "store/store.h"
#include "study/defaults.h"
#include "study/expand.h"
#include "temporary_directory.h"

namespace gyrebox::test {

/// Values that a run measures at a time.
struct MadeUp {
  double size = 0;                                           ///< weight-average
  double number = std::numeric_limits<double>::quiet_NaN();  ///< number-average
  double polydispersity = 0.5;
  double spacing = 5;
  double word = 1;
  double largest = std::numeric_limits<double>::quiet_NaN();  ///< spinners in the largest cluster
  double wrapping = 0;                                        ///< clusters round the bed
};

/// A synthetic run.
struct MadeUpRun {
  std::vector<double> axis_values;
  int trial = 1;
  double seed = 0;  ///< standard normal, independent for each run
  bool audit = false;
};

class MadeUpStudy {
 public:
  using Measured = std::function<MadeUp(const MadeUpRun& run, double time)>;
  using Ending = std::function<v1::Run::State(const MadeUpRun& run)>;
  using Reached = std::function<double(const MadeUpRun& run)>;

  /// Fills in defaults. Stores a frame of one bead at the end of each stage and at the end of a run. The structure
  /// columns hold values in every ninth sample only.
  /// @param reached recorded length of a run over the planned one; above 1 for an extended run.
  MadeUpStudy(store::Store& store, v1::StudySpec spec, const Measured& measured, const Ending& ending = AllFinish,
              const Reached& reached = Whole) {
    study::FillDefaults(&spec);
    const auto study = store.studies().Create(spec, NewRuns(spec), "");
    EXPECT_TRUE(study.ok()) << study.status();
    id = std::stoll(study->name().substr(8));
    std::mt19937_64 random(17);
    std::normal_distribution<double> normal;
    std::vector<int64_t> numbers;
    std::vector<store::RunUpdate> updates;
    int64_t number = 0;
    for (const auto& plan : study::Expand(spec)) {
      const MadeUpRun run{plan.axis_values, plan.trial, normal(random), plan.audit};
      const auto state = ending(run);
      if (++number; state == v1::Run::STATE_QUEUED) continue;
      numbers.push_back(number);
      updates.push_back(Update(spec, run, measured, reached(run)));
      updates.back().number = number;
      updates.back().state = state;
    }
    const std::vector<std::vector<v1::Observable>> observables(numbers.size(), Observables());
    EXPECT_TRUE(store.queue().Start(id, numbers, "cpu").ok());
    EXPECT_TRUE(store.series().SetObservables(id, numbers, observables).ok());
    EXPECT_TRUE(store.runs().RecordProgress(id, updates).ok());
  }

  static v1::Run::State AllFinish(const MadeUpRun&) { return v1::Run::STATE_FINISHED; }
  static double Whole(const MadeUpRun&) { return 1; }

  int64_t id = 0;

 private:
  static std::vector<v1::Observable> Observables() {
    std::vector<v1::Observable> all;
    for (const auto& [name, unit] : {std::pair("spinner_weight_average_size", "beads"),
                                     {"polydispersity", ""},
                                     {"domain_spacing", "sigma"},
                                     {"morphology_class", ""},
                                     {"spinner_number_average_size", "beads"},
                                     {"spinner_largest_size", "beads"},
                                     {"spinner_wrapping_count", ""}}) {
      v1::Observable& observable = all.emplace_back();
      observable.set_name(name);
      observable.set_unit(unit);
      observable.set_definition("Made up.");
      observable.set_width(1);
    }
    return all;
  }

  static store::RunUpdate Update(const v1::StudySpec& spec, const MadeUpRun& run, const Measured& measured,
                                 double reached) {
    store::RunUpdate update;
    update.time = reached * analysis::StagesOf(study::AtPoint(spec, run.axis_values)).back().end;
    update.step = std::lround(update.time * 2000);
    update.samples.width = 9;
    constexpr double kNone = std::numeric_limits<double>::quiet_NaN();
    for (int i = 0; i <= std::lround(update.time * 8); ++i) {
      const double time = i / 8.0;
      const MadeUp now = measured(run, time);
      const bool whole = i % 9 == 0;
      update.samples.numbers.insert(update.samples.numbers.end(),
                                    {time * 2000, time, now.size, now.polydispersity, whole ? now.spacing : kNone,
                                     whole ? now.word : kNone, now.number, now.largest, now.wrapping});
    }
    for (const auto& stage : analysis::StagesOf(study::AtPoint(spec, run.axis_values))) {
      store::Frame& frame = update.frames.emplace_back();
      frame.time = std::min(stage.end, update.time);
      frame.step = std::lround(frame.time * 2000);
      frame.beads = {.side_x = 3, .side_y = 3, .x = {7}, .y = {8}, .angle = {9}, .spinner = {1}};
    }
    return update;
  }
};

}  // namespace gyrebox::test
