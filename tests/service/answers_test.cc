// Answers for stored studies whose true results are known.
#include "answers/answers.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <set>

#include "answers/plan.h"
#include "answers/table.h"
#include "digest/study_data.h"
#include "made_up_study.h"
#include "store/names.h"
#include "study/defaults.h"
#include "study/expand.h"

namespace gyrebox::analysis {
namespace {

using test::MadeUp;
using test::MadeUpRun;
using test::MadeUpStudy;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

using Topic = v1::Answer;

class AnswersTest : public testing::Test {
 protected:
  AnswersTest() {
    auto opened = store::Store::Open(directory_.path());
    EXPECT_TRUE(opened.ok());
    store_ = *std::move(opened);
  }

  v1::Answers Answers(int64_t study, v1::AnalysisOptions options = {}) {
    EXPECT_TRUE(FillOptions(&options).ok());
    auto answers = Analyse(*store_, study, options);
    EXPECT_TRUE(answers.ok()) << answers.status();
    return *std::move(answers);
  }

  test::TemporaryDirectory directory_;
  std::unique_ptr<store::Store> store_;
};

const v1::Answer& Find(const v1::Answers& answers, Topic::Topic topic) {
  for (const auto& answer : answers.answers()) {
    if (answer.topic() == topic) return answer;
  }
  ADD_FAILURE() << "no answer " << topic;
  return v1::Answer::default_instance();
}

/// The first quantity of a name; with this `label` if one is given.
const v1::Quantity& Find(const v1::Answer& answer, const std::string& name, const std::string& label = "") {
  for (const auto& quantity : answer.quantities()) {
    if (quantity.name() == name && quantity.label().find(label) != std::string::npos) return quantity;
  }
  ADD_FAILURE() << "no " << name << " " << label << " in " << answer.DebugString();
  return v1::Quantity::default_instance();
}

const v1::Plot& FindPlot(const v1::Answer& answer, const std::string& name) {
  for (const auto& plot : answer.plots()) {
    if (plot.name() == name) return plot;
  }
  ADD_FAILURE() << "no plot " << name;
  return v1::Plot::default_instance();
}

/// Value of a row in a column.
double Cell(const v1::Plot& plot, int row, const std::string& column) {
  for (int i = 0; i < plot.columns_size(); ++i) {
    if (plot.columns(i).name() == column) return plot.rows(row).values(i);
  }
  ADD_FAILURE() << "no column " << column;
  return 0;
}

/// Checks that hold for any answers: every quantity has its definition, and tables are rectangular.
void CheckSelfExplaining(const v1::Answers& answers) {
  std::set<std::string> plots;
  std::set<int> topics;
  for (const auto& answer : answers.answers()) {
    EXPECT_TRUE(topics.insert(answer.topic()).second);
    EXPECT_FALSE(answer.title().empty());
    EXPECT_NE(answer.summary().empty(), answer.why_not().empty()) << answer.DebugString();
    for (const auto& quantity : answer.quantities()) {
      SCOPED_TRACE(quantity.name());
      EXPECT_FALSE(quantity.definition().empty());
      EXPECT_FALSE(quantity.method().empty());
      EXPECT_FALSE(quantity.reference().empty());
      EXPECT_TRUE(quantity.has_value() || quantity.has_low() || !quantity.note().empty());
    }
    for (const auto& plot : answer.plots()) {
      SCOPED_TRACE(plot.name());
      EXPECT_TRUE(plots.insert(plot.name()).second);
      EXPECT_FALSE(plot.title().empty());
      for (const auto& column : plot.columns()) EXPECT_FALSE(column.definition().empty()) << column.name();
      for (const auto& row : plot.rows()) EXPECT_EQ(row.values_size(), plot.columns_size());
    }
  }
}

v1::StudySpec MapStudy() {
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_schedule()->set_duration(20);
  spec.mutable_drive()->mutable_sine()->clear_amplitude();
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  for (const double value : {0, 8, 12, 16, 20, 24, 28, 60}) axis.add_values(value);
  spec.mutable_trials()->set_count(5);
  spec.mutable_audit()->set_max_cost(0);
  return spec;
}

/// Size 6.5 up to 12 rad/tau, then rising by 2 per rad/tau up to 24, with 5 % spread between realizations and an
/// oscillation in each period.
MadeUp Rising(const MadeUpRun& run, double time) {
  const double x = run.axis_values[0];
  const double mean = x < 12 ? 6.5 : std::min(6.5 + 2 * (x - 12), 30.5);
  return {.size = mean * (1 + 0.05 * run.seed) + 0.1 * std::sin(2 * M_PI * time)};
}

v1::Run::State UnstableAt60(const MadeUpRun& run) {
  return run.axis_values[0] == 60 ? v1::Run::STATE_UNSTABLE : v1::Run::STATE_FINISHED;
}

// A run whose drive was adjusted during the run belongs to no point of the map.
TEST_F(AnswersTest, ARunAdjustedByAUserIsExcluded) {
  const MadeUpStudy made(*store_, MapStudy(), Rising);
  store::JournalWrite write{.number = 2, .entry = {}, .before = v1::Run::STATE_FINISHED};
  write.entry.set_kind(v1::Adjustment::KIND_CHANGE);
  write.entry.set_step(100);
  ASSERT_TRUE(store_->journals().Write(made.id, std::vector{write}).ok());
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& map = Find(answers, Topic::TOPIC_MAP);
  ASSERT_EQ(map.left_out_size(), 1);
  EXPECT_EQ(map.left_out(0).reason(), "adjusted by a user while it ran");
  EXPECT_EQ(map.left_out(0).runs(0), "studies/1/runs/2");
  const auto table = Tabulate(*store_, made.id, "");
  ASSERT_TRUE(table.ok()) << table.status();
  EXPECT_EQ(table->rows(0).changed_count(), 1);
  EXPECT_EQ(table->rows(0).trial_count(), 4);
  EXPECT_EQ(table->rows(1).trial_count(), 5);
}

TEST_F(AnswersTest, AnAdjustmentPlannedForAfterTheEndChangesNothing) {
  const MadeUpStudy made(*store_, MapStudy(), Rising);
  store::JournalWrite write{.number = 2, .entry = {}, .before = v1::Run::STATE_FINISHED};
  write.entry.set_kind(v1::Adjustment::KIND_CHANGE);
  write.entry.set_step(40000);  // the run ended at this step
  ASSERT_TRUE(store_->journals().Write(made.id, std::vector{write}).ok());
  const v1::Answers answers = Answers(made.id);
  EXPECT_EQ(Find(answers, Topic::TOPIC_MAP).left_out_size(), 0);
  EXPECT_EQ(Find(answers, Topic::TOPIC_SWITCHING).why_not(), "the drive does not change during a run");
}

TEST_F(AnswersTest, OfSteeredRunsItSaysThatUsersAdjustedThem) {
  const MadeUpStudy made(*store_, MapStudy(), Rising);
  store::JournalWrite write{.number = 2, .entry = {}, .before = v1::Run::STATE_FINISHED};
  write.entry.set_kind(v1::Adjustment::KIND_CHANGE);
  write.entry.set_step(100);
  ASSERT_TRUE(store_->journals().Write(made.id, std::vector{write}).ok());
  EXPECT_THAT(Find(Answers(made.id), Topic::TOPIC_SWITCHING).why_not(), HasSubstr("users adjusted single runs"));
}

TEST_F(AnswersTest, AMapHasItsOnsetPeakAndRanges) {
  const MadeUpStudy made(*store_, MapStudy(), Rising, UnstableAt60);
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Answer& map = Find(answers, Topic::TOPIC_MAP);
  EXPECT_NEAR(Find(map, "undriven").value(), 6.5, 0.4);
  const v1::Quantity& onset = Find(map, "onset");
  EXPECT_NEAR(onset.value(), 13.625, 0.3);
  EXPECT_LT(onset.low(), 13.625);
  EXPECT_GT(onset.high(), 13.625);
  EXPECT_EQ(onset.unit(), "rad/tau");
  EXPECT_GE(Find(map, "peak").value(), 24);
  EXPECT_EQ(Find(map, "unstable_range").low(), 60);
  EXPECT_EQ(Find(map, "stationary_range").low(), 24);
  EXPECT_EQ(Find(map, "stationary_range").high(), 28);
  EXPECT_NEAR(Find(map, "best_window_spread").value(), 0.05, 0.04);
  EXPECT_THAT(map.summary(), HasSubstr("onset"));
  EXPECT_THAT(map.cautions(), IsEmpty());
}

TEST_F(AnswersTest, AnOnsetInAWideGapCarriesAWarning) {
  v1::StudySpec spec = MapStudy();
  spec.mutable_axes(0)->clear_values();
  for (const double value : {0, 10, 30}) spec.mutable_axes(0)->add_values(value);
  const MadeUpStudy made(*store_, spec, Rising);
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& map = Find(answers, Topic::TOPIC_MAP);
  EXPECT_EQ(Find(map, "onset").note(), "interpolated between the points at 10 and 30");
  ASSERT_EQ(map.cautions_size(), 1);
  EXPECT_THAT(map.cautions(0), HasSubstr("The onset lies between 10 and 30 rad/tau"));
}

TEST_F(AnswersTest, BothAveragesAreAnsweredAndTheStudySaysWhichLeads) {
  const auto measured = [](const MadeUpRun& run, double time) {
    MadeUp now = Rising(run, time);
    now.number = 2 * std::exp(0.05 * run.seed);
    return now;
  };
  const MadeUpStudy weight(*store_, MapStudy(), measured);
  const v1::Answers by_weight = Answers(weight.id);
  CheckSelfExplaining(by_weight);
  EXPECT_EQ(by_weight.observable().name(), kWeightAverage);
  const v1::Answer& map = Find(by_weight, Topic::TOPIC_MAP);
  EXPECT_NEAR(Cell(FindPlot(map, "map"), 4, "size"), 22.5, 2);
  EXPECT_NEAR(Cell(FindPlot(map, "map_number_average"), 4, "size"), 2, 0.3);
  EXPECT_NEAR(Find(map, "peak_size", "number-average").value(), 2, 0.3);
  EXPECT_THAT(map.summary(), HasSubstr("The largest number-average size is 2"));
  v1::StudySpec spec = MapStudy();
  spec.mutable_measure()->set_size_observable(kNumberAverage);
  const MadeUpStudy number(*store_, spec, measured);
  const v1::Answers by_number = Answers(number.id);
  EXPECT_EQ(by_number.observable().name(), kNumberAverage);
  EXPECT_NEAR(Cell(FindPlot(Find(by_number, Topic::TOPIC_MAP), "map"), 4, "size"), 2, 0.3);
  FindPlot(Find(by_number, Topic::TOPIC_MAP), "map_weight_average");
  EXPECT_EQ(Tabulate(*store_, number.id, "")->observable().name(), kNumberAverage);
}

TEST_F(AnswersTest, SizesThatAreNotPositiveHaveNoRatios) {
  const MadeUpStudy made(*store_, MapStudy(), [](const MadeUpRun& run, double) { return MadeUp{.size = run.seed}; });
  EXPECT_THAT(Find(Answers(made.id), Topic::TOPIC_MAP).why_not(),
              HasSubstr("choose an observable that is always above 0"));
}

TEST_F(AnswersTest, ALargestClusterOverATenthOfTheSpinnersCarriesAWarning) {
  v1::StudySpec spec = MapStudy();
  spec.mutable_bed()->set_bead_count(1000);  // 300 spinners
  const MadeUpStudy made(*store_, spec, [](const MadeUpRun& run, double time) {
    MadeUp now = Rising(run, time);
    now.largest = run.axis_values[0] >= 24 ? 60 : 20;
    now.wrapping = run.axis_values[0] >= 28 ? 1 : 0;
    return now;
  });
  const v1::Answer map = Find(Answers(made.id), Topic::TOPIC_MAP);
  EXPECT_NEAR(Cell(FindPlot(map, "map"), 5, "largest_fraction"), 0.2, 1e-9);
  EXPECT_EQ(FindPlot(map, "map").rows(4).mark(), "");
  EXPECT_EQ(FindPlot(map, "map").rows(5).mark(), "largest cluster 20 % of the spinners");
  EXPECT_THAT(FindPlot(map, "map").rows(6).mark(), HasSubstr("clusters wrap round the bed"));
  ASSERT_EQ(map.cautions_size(), 1);
  EXPECT_THAT(map.cautions(0), HasSubstr("At 3 of 8 points the largest cluster holds over 10 % of the spinners"));
}

TEST_F(AnswersTest, UnstableRunsAreShownNamedAndInNoAverage) {
  const MadeUpStudy made(*store_, MapStudy(), Rising, UnstableAt60);
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& map = Find(answers, Topic::TOPIC_MAP);
  const v1::Plot& plot = FindPlot(map, "map");
  ASSERT_EQ(plot.rows_size(), 8);
  EXPECT_EQ(plot.rows(7).mark(), "unstable 5/5");
  EXPECT_TRUE(plot.rows(7).some_runs_excluded());
  EXPECT_FALSE(plot.rows(6).some_runs_excluded());
  EXPECT_TRUE(std::isnan(Cell(plot, 7, "size")));
  EXPECT_EQ(Cell(plot, 7, "unstable"), 5);
  EXPECT_NEAR(Cell(plot, 1, "size"), 6.5, 0.4);
  EXPECT_EQ(Cell(plot, 1, "trials"), 5);
  ASSERT_EQ(map.left_out_size(), 1);
  EXPECT_EQ(map.left_out(0).reason(), "unstable");
  EXPECT_EQ(map.left_out(0).count(), 5);
  EXPECT_EQ(map.left_out(0).runs(0), "studies/1/runs/36");
}

/// MapStudy() at one time step; its points at 60, 28 and 24 are audited.
v1::StudySpec AuditedMap() {
  v1::StudySpec spec = MapStudy();
  spec.mutable_dynamics()->set_time_step(5e-4);
  spec.mutable_audit()->set_max_cost(0.6);
  return spec;
}

/// At half the step the weight-average size at 28 doubles and the number-average falls to a third; at 24 both are
/// unchanged.
MadeUp MovingAt28(const MadeUpRun& run, double time) {
  MadeUp now = Rising(run, time);
  now.number = now.size / 2;
  if (!run.audit || run.axis_values[0] != 28) return now;
  return {.size = 2 * now.size, .number = now.number / 3};
}

v1::Run::State UnstableAt60WithTheStep(const MadeUpRun& run) {
  return run.audit ? v1::Run::STATE_FINISHED : UnstableAt60(run);
}

TEST_F(AnswersTest, ATableGivesTheEffectOfHalfTheStepAtEachPoint) {
  const MadeUpStudy made(*store_, AuditedMap(), MovingAt28, UnstableAt60WithTheStep);
  const auto table = Tabulate(*store_, made.id, "");
  ASSERT_TRUE(table.ok()) << table.status();
  const v1::StepAudit& moves = table->rows(6).audit();
  EXPECT_EQ(moves.verdict(), v1::StepAudit::VERDICT_MOVES);
  EXPECT_EQ(moves.run_count(), 4);
  ASSERT_EQ(moves.changes_size(), 2);
  EXPECT_EQ(moves.changes(0).observable(), "spinner_weight_average_size");
  EXPECT_NEAR(moves.changes(0).change(), 1, 0.3);
  EXPECT_EQ(moves.changes(1).observable(), "spinner_number_average_size");
  EXPECT_NEAR(moves.changes(1).change(), -2.0 / 3, 0.1);
  for (const v1::StepChange& change : moves.changes()) {
    EXPECT_TRUE(change.moves());
    EXPECT_LT(change.low(), change.change());
    EXPECT_GT(change.high(), change.change());
  }
  EXPECT_EQ(table->rows(5).audit().verdict(), v1::StepAudit::VERDICT_HOLDS);
  EXPECT_EQ(table->rows(0).audit().verdict(), v1::StepAudit::VERDICT_NOT_AUDITED);
  EXPECT_EQ(table->rows(0).audit().note(), "");
  // The full step alone makes the runs at 60 unstable.
  EXPECT_EQ(table->rows(7).audit().verdict(), v1::StepAudit::VERDICT_NOT_AUDITED);
  EXPECT_EQ(table->rows(7).audit().note(), "5 of 5 runs with the step and 0 of 4 runs with half of it became unstable");
}

TEST_F(AnswersTest, AnObservableOfAnotherNameIsComparedToo) {
  const MadeUpStudy made(*store_, AuditedMap(), MovingAt28);
  const auto table = Tabulate(*store_, made.id, "domain_spacing");
  ASSERT_TRUE(table.ok()) << table.status();
  const v1::StepAudit& audit = table->rows(6).audit();
  ASSERT_EQ(audit.changes_size(), 2);  // the spacing is 5 in all runs, so no spread is available to test it
  EXPECT_EQ(audit.changes(0).observable(), "spinner_number_average_size");
  EXPECT_EQ(audit.verdict(), v1::StepAudit::VERDICT_MOVES);
}

TEST_F(AnswersTest, APointThatMovesIsMarkedAndStaysInAverages) {
  const MadeUpStudy made(*store_, AuditedMap(), MovingAt28, UnstableAt60WithTheStep);
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Plot& map = FindPlot(Find(answers, Topic::TOPIC_MAP), "map");
  EXPECT_EQ(map.rows(6).mark(), "moves with the time step");
  EXPECT_TRUE(map.rows(6).moves_with_step());
  EXPECT_FALSE(map.rows(6).some_runs_excluded());
  EXPECT_EQ(map.rows(5).mark(), "");
  EXPECT_FALSE(map.rows(5).moves_with_step());
  EXPECT_EQ(Cell(map, 6, "trials"), 5);
  EXPECT_NEAR(Cell(map, 6, "size"), 30.5, 3);
  const v1::Answer& audit = Find(answers, Topic::TOPIC_AUDIT);
  EXPECT_THAT(
      audit.summary(),
      HasSubstr("holds at 1 and moves at 1 of 2 audited points, those most at risk; 6 of 8 points are not audited."));
  EXPECT_THAT(audit.summary(), HasSubstr("At amplitude 28: moves by spinner_weight_average_size +"));
  ASSERT_EQ(audit.cautions_size(), 1);
  EXPECT_THAT(audit.cautions(0), HasSubstr("half of dynamics.time_step"));
  EXPECT_EQ(audit.left_out(0).reason(), "unstable");
  EXPECT_EQ(audit.left_out_size(), 1);
  EXPECT_EQ(FindPlot(audit, "audit").rows_size(), 2);
}

TEST_F(AnswersTest, AnUnfinishedAuditHasNoVerdict) {
  const MadeUpStudy made(*store_, AuditedMap(), Rising, [](const MadeUpRun& run) {
    return run.audit ? v1::Run::STATE_QUEUED : v1::Run::STATE_FINISHED;
  });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  EXPECT_EQ(Find(answers, Topic::TOPIC_AUDIT).why_not(), "no ended run has the required data");
  EXPECT_EQ(Find(answers, Topic::TOPIC_MAP).left_out(0).reason(), "time-step audit: not finished yet");
}

TEST_F(AnswersTest, OnsetsOfTwoCurvesArePlottedOverTheOtherAxis) {
  v1::StudySpec spec = MapStudy();
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.frequency");
  axis.add_values(1);
  axis.add_values(2);
  const MadeUpStudy made(*store_, spec, [](const MadeUpRun& run, double time) {
    MadeUpRun slower = run;
    slower.axis_values[0] /= run.axis_values[1];  // at twice the frequency the same size needs twice the amplitude
    return Rising(slower, time);
  });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Plot& onsets = FindPlot(Find(answers, Topic::TOPIC_MAP), "onsets");
  ASSERT_EQ(onsets.rows_size(), 2);
  EXPECT_NEAR(Cell(onsets, 0, "onset"), 13.625, 0.4);
  EXPECT_NEAR(Cell(onsets, 1, "onset"), 27.25, 0.8);
}

TEST_F(AnswersTest, ARunningStudyHasPreliminaryAnswers) {
  const auto half = [](const MadeUpRun& run) {
    return run.axis_values[0] > 16 ? v1::Run::STATE_QUEUED : v1::Run::STATE_FINISHED;
  };
  const MadeUpStudy made(*store_, MapStudy(), Rising, half);
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  EXPECT_EQ(answers.state(), v1::Study::STATE_RUNNING);
  const v1::Answer& map = Find(answers, Topic::TOPIC_MAP);
  EXPECT_NEAR(Find(map, "onset").value(), 13.625, 0.4);
  EXPECT_EQ(map.left_out(0).reason(), "not finished yet");
  EXPECT_EQ(FindPlot(map, "map").rows(7).mark(), "waiting 5/5");
}

TEST_F(AnswersTest, AStudyThatHasNotStartedSaysSo) {
  const MadeUpStudy made(*store_, MapStudy(), Rising, [](const MadeUpRun&) { return v1::Run::STATE_QUEUED; });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  EXPECT_EQ(Find(answers, Topic::TOPIC_MAP).why_not(), "no ended run has the required data");
  EXPECT_EQ(Find(answers, Topic::TOPIC_MEMORY).why_not(),
            "no axis varies the amplitude of a stage before an unchanged last stage");
}

v1::StudySpec StagedStudy(const std::vector<double>& amplitudes, double duration) {
  v1::StudySpec spec = test::BareStudy();
  spec.mutable_schedule()->clear_duration();
  for (const double amplitude : amplitudes) {
    v1::Stage& stage = *spec.mutable_schedule()->add_stages();
    stage.set_duration(duration);
    stage.mutable_step()->set_amplitude(amplitude);
  }
  spec.mutable_trials()->set_count(6);
  return spec;
}

/// Follows the steps of a schedule of 20 tau stages with a time constant of 3 tau.
MadeUp Following(const std::vector<double>& levels, const MadeUpRun& run, double time) {
  double size = levels[0];
  for (size_t k = 1; k < levels.size(); ++k) {
    const double since = time - 20 * static_cast<double>(k);
    if (since > 0) size = levels[k] + (size - levels[k]) * std::exp(-std::min(since, 20.0) / 3);
  }
  return {.size = size * (1 + 0.03 * run.seed)};
}

TEST_F(AnswersTest, SwitchesHaveRelaxationTimesAndAreComparedWithFreshBeds) {
  const MadeUpStudy made(*store_, StagedStudy({10, 40, 10}, 20), [](const MadeUpRun& run, double time) {
    return Following({6, 36, 6}, run, time);
  });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Answer& switching = Find(answers, Topic::TOPIC_SWITCHING);
  EXPECT_NEAR(Find(switching, "rise_time").value(), 3, 0.2);
  EXPECT_NEAR(Find(switching, "fall_time").value(), 3, 0.2);
  EXPECT_NEAR(Find(switching, "size_ratio").value(), 6, 0.1);
  EXPECT_EQ(Find(switching, "against_as_prepared").label(), "stage 2 to 3 (2 to 3)");
  EXPECT_EQ(Find(switching, "against_as_prepared").note(), "equal, of another age: 20 against 60 tau");
  EXPECT_THAT(switching.summary(), HasSubstr("in 2 it changed, which is not separable from ageing"));
  EXPECT_THAT(switching.summary(), HasSubstr("After turning down (stage 2 to 3 (2 to 3)) the size is 1"));
  EXPECT_NEAR(Find(switching, "change_to_grow").value(), std::exp(std::log(4) * std::log(2) / std::log(6)), 0.1);
  EXPECT_LT(Find(switching, "change_to_shrink").value(), 1);
  ASSERT_EQ(switching.cautions_size(), 2);
  EXPECT_THAT(switching.cautions(0), HasSubstr("2 of 2 switches are not separable from ageing"));
  EXPECT_THAT(switching.cautions(1), HasSubstr("1 of 2 switches have no as-prepared sample"));
  const v1::Plot& courses = FindPlot(switching, "courses");
  EXPECT_EQ(courses.rows_size(), 200);
  EXPECT_EQ(courses.rows(199).label(), "3");
  ASSERT_EQ(courses.stages_size(), 3);
  for (int i = 0; i < 3; ++i) {
    EXPECT_DOUBLE_EQ(courses.stages(i).begin(), 20 * i);
    EXPECT_DOUBLE_EQ(courses.stages(i).end(), 20 * (i + 1));
    EXPECT_EQ(courses.stages(i).amplitude(), i == 1 ? 40 : 10);
    EXPECT_FALSE(courses.stages(i).ramps());
  }
}

TEST_F(AnswersTest, AnotherStudyMayBeTheControl) {
  const MadeUpStudy fresh(*store_, StagedStudy({40}, 20),
                          [](const MadeUpRun& run, double) { return MadeUp{.size = 72 * (1 + 0.03 * run.seed)}; });
  const MadeUpStudy made(*store_, StagedStudy({10, 40}, 20), [](const MadeUpRun& run, double time) {
    return Following({6, 36}, run, time);
  });
  v1::AnalysisOptions options;
  options.set_fresh_study("studies/1");
  const v1::Answers answers = Answers(made.id, options);
  const v1::Answer& switching = Find(answers, Topic::TOPIC_SWITCHING);
  EXPECT_EQ(Find(switching, "against_as_prepared").note(), "different, of another age: 20 against 40 tau");
  EXPECT_NEAR(Find(switching, "against_as_prepared").value(), 0.5, 0.05);
  options.set_fresh_study("studies/77");
  ASSERT_TRUE(FillOptions(&options).ok());
  EXPECT_EQ(Analyse(*store_, made.id, options).status().code(), absl::StatusCode::kNotFound);
}

/// Beds that stay under one drive for 40 tau, at amplitudes 10 and 40.
v1::StudySpec ControlStudy(double duration) {
  v1::StudySpec spec = MapStudy();
  spec.mutable_schedule()->set_duration(duration);
  spec.mutable_trials()->set_count(6);
  spec.mutable_axes(0)->clear_values();
  for (const double amplitude : {10, 40}) spec.mutable_axes(0)->add_values(amplitude);
  return spec;
}

// The size doubles by itself in the time of a switch. Compared with a bed that was never switched nothing is left of
// it.
TEST_F(AnswersTest, ABedThatOnlyAgesDoesNotFollowTheDrive) {
  const auto ageing = [](const MadeUpRun& run, double time) {
    return MadeUp{.size = 10 * (1 + time / 30 * (1 + 0.1 * run.seed))};
  };
  const MadeUpStudy control(*store_, ControlStudy(40), ageing);
  const MadeUpStudy made(*store_, StagedStudy({10, 40}, 20), ageing);
  const v1::Answer alone = Find(Answers(made.id), Topic::TOPIC_SWITCHING);
  EXPECT_GT(Find(alone, "size_ratio").low(), 1.2);
  EXPECT_THAT(alone.cautions(0), HasSubstr("not separable from ageing"));
  v1::AnalysisOptions options;
  options.set_fresh_study("studies/1");
  const v1::Answers answers = Answers(made.id, options);
  CheckSelfExplaining(answers);
  const v1::Answer& switching = Find(answers, Topic::TOPIC_SWITCHING);
  EXPECT_LT(Find(switching, "size_ratio_net").low(), 1);
  EXPECT_GT(Find(switching, "size_ratio_net").high(), 1);
  EXPECT_EQ(Find(switching, "against_as_prepared").note(), "equal");
  EXPECT_THAT(switching.summary(), HasSubstr("In 0 of 1 switches"));
  EXPECT_THAT(switching.summary(), HasSubstr("1 unresolved"));
  EXPECT_THAT(switching.cautions(), IsEmpty());
}

// The control does not age, so the whole change follows from the drive.
TEST_F(AnswersTest, AChangeBesideAControlHasADirection) {
  const MadeUpStudy control(*store_, ControlStudy(60), [](const MadeUpRun& run, double) {
    return MadeUp{.size = (run.axis_values[0] == 10 ? 6 : 36) * (1 + 0.03 * run.seed)};
  });
  const MadeUpStudy made(*store_, StagedStudy({10, 40, 10}, 20), [](const MadeUpRun& run, double time) {
    return Following({6, 36, 6}, run, time);
  });
  v1::AnalysisOptions options;
  options.set_fresh_study("studies/1");
  const v1::Answer switching = Find(Answers(made.id, options), Topic::TOPIC_SWITCHING);
  EXPECT_THAT(switching.summary(),
              HasSubstr("In 2 of 2 switches the size moved with the drive (1 of 1 up, 1 of 1 down)"));
  EXPECT_NEAR(Find(switching, "size_ratio_net").value(), 6, 0.3);
}

v1::StudySpec MemoryStudy() {
  v1::StudySpec spec = StagedStudy({14, 14, 20}, 20);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("schedule.stages[1].step.amplitude");
  for (const double value : {14, 20, 28, 36, 48, 64}) axis.add_values(value);
  return spec;
}

TEST_F(AnswersTest, MemoryHasItsErasureAmplitude) {
  const MadeUpStudy made(*store_, MemoryStudy(), [](const MadeUpRun& run, double time) {
    const double last = run.axis_values[0] >= 36 ? 100 : 40;
    return MadeUp{.size = (time < 40 ? 20 : last) * (1 + 0.05 * run.seed)};
  });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Answer& memory = Find(answers, Topic::TOPIC_MEMORY);
  const v1::Quantity& reset = Find(memory, "reset_amplitude");
  EXPECT_EQ(reset.value(), 36);
  EXPECT_EQ(reset.low(), 28);
  EXPECT_EQ(reset.high(), 36);
  EXPECT_NEAR(Find(memory, "reference").value(), 100, 6);
  EXPECT_NEAR(Find(memory, "margin").value(), 1.25, 1e-9);
  EXPECT_EQ(Find(memory, "imprint").value(), 0);
  EXPECT_EQ(Find(memory, "imprint").note(), "by definition: the weakest middle stage");
  const v1::Plot& plot = FindPlot(memory, "memory");
  ASSERT_EQ(plot.rows_size(), 6);
  EXPECT_EQ(plot.rows(0).label(), "not erased");
  EXPECT_EQ(plot.rows(3).label(), "erased");
  EXPECT_EQ(plot.rows(5).label(), "reference");
  EXPECT_NEAR(Cell(plot, 3, "imprint"), 1, 0.1);
  EXPECT_NEAR(Cell(plot, 0, "ratio"), 0.4, 0.03);
  ASSERT_EQ(plot.marks_size(), 2);
  EXPECT_THAT(memory.summary(), HasSubstr("A middle stage of 36 rad/tau or more erases"));
  EXPECT_THAT(Find(answers, Topic::TOPIC_MAP).why_not(), HasSubstr("see the imprint of the middle stage"));
}

// As-prepared samples of equal age are the reference: beds after weak middle stages equal them, after strong ones not.
TEST_F(AnswersTest, MemoryIsComparedWithAsPreparedSamplesWhereThereAreAny) {
  v1::StudySpec fresh = ControlStudy(60);
  fresh.mutable_axes(0)->clear_values();
  fresh.mutable_axes(0)->add_values(20);
  const MadeUpStudy control(*store_, fresh,
                            [](const MadeUpRun& run, double) { return MadeUp{.size = 40 * (1 + 0.03 * run.seed)}; });
  const MadeUpStudy made(*store_, MemoryStudy(), [](const MadeUpRun& run, double time) {
    const double last = run.axis_values[0] == 28 ? 80 : 40;
    return MadeUp{.size = (time < 40 ? 20 : last) * (1 + 0.03 * run.seed)};
  });
  v1::AnalysisOptions options;
  options.set_fresh_study("studies/1");
  const v1::Answer memory = Find(Answers(made.id, options), Topic::TOPIC_MEMORY);
  EXPECT_EQ(Find(memory, "reference").label(), "last plateau of as-prepared samples");
  EXPECT_EQ(Find(memory, "reset_amplitude").value(), 36);
  EXPECT_EQ(Find(memory, "reset_amplitude").low(), 28);
  options.set_memory_reference(v1::AnalysisOptions::MEMORY_REFERENCE_STRONGEST);
  const v1::Answer strongest = Find(Answers(made.id, options), Topic::TOPIC_MEMORY);
  EXPECT_EQ(Find(strongest, "reference").label(), "last plateau after 64 rad/tau");
}

TEST_F(AnswersTest, MemoryThatIsNotErasedSaysSo) {
  const MadeUpStudy made(*store_, MemoryStudy(), [](const MadeUpRun& run, double time) {
    return MadeUp{.size = (time < 40 ? 20 : std::pow(run.axis_values[0], 2) / 30) * (1 + 0.02 * run.seed)};
  });
  const v1::Answer memory = Find(Answers(made.id), Topic::TOPIC_MEMORY);
  EXPECT_FALSE(Find(memory, "reset_amplitude").has_value());
  EXPECT_EQ(Find(memory, "reset_amplitude").note(), "not reached in this range");
}

/// A bed whose size is 20 beads larger in the down sweep than in the up sweep, between amplitudes 10 and 40.
MadeUp TwoBranches(const MadeUpRun& run, double time) {
  const std::vector<double> sizes = {10, 20, 60, 40, 10};
  const auto stage = static_cast<size_t>(std::max(0.0, std::ceil(time / 20) - 1));  // the end of a stage belongs to it
  return {.size = sizes[stage] + 0.1 * run.seed};
}

TEST_F(AnswersTest, ALoopHasItsArea) {
  const MadeUpStudy made(*store_, StagedStudy({10, 20, 40, 20, 10}, 20), TwoBranches);
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Answer& loop = Find(answers, Topic::TOPIC_LOOP);
  // Triangles of height 20, from 10 to 20 and from 20 to 40.
  EXPECT_NEAR(Find(loop, "loop_area").value(), 20 * 30 / 2, 1);
  ASSERT_EQ(loop.cautions_size(), 1);
  EXPECT_THAT(loop.cautions(0), HasSubstr("1 of 1 loops are not separable from ageing"));
  EXPECT_FALSE(Find(loop, "loop_area_at_rest").has_value());
  const v1::Plot& ways = FindPlot(loop, "loops");
  EXPECT_EQ(ways.rows_size(), 6);
}

TEST_F(AnswersTest, ALoopThatASlowResponseExplainsCarriesAWarning) {
  const std::vector<double> amplitudes = {10, 20, 30, 40, 30, 20, 10};
  // The size relaxes towards the amplitude with a time constant of 15 tau: a single state, swept too fast.
  const MadeUpStudy made(*store_, StagedStudy(amplitudes, 20), [&](const MadeUpRun& run, double time) {
    double size = 10;
    for (size_t k = 0; k < amplitudes.size(); ++k) {
      const double since = std::min(20.0, time - 20 * static_cast<double>(k));
      if (since > 0) size = amplitudes[k] + (size - amplitudes[k]) * std::exp(-since / 15);
    }
    return MadeUp{.size = size + 0.1 * run.seed};
  });
  const v1::Answer loop = Find(Answers(made.id), Topic::TOPIC_LOOP);
  ASSERT_EQ(loop.cautions_size(), 2);
  EXPECT_THAT(loop.cautions(0), HasSubstr("Lag or chance can explain this loop"));
}

TEST_F(AnswersTest, RobustnessFindsTheSlopeOfANuisance) {
  v1::StudySpec spec = MapStudy();
  spec.clear_axes();
  spec.mutable_drive()->mutable_sine()->set_amplitude(20);
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.disorder.amplitude_spread");
  for (const double value : {0.0, 0.1, 0.2, 0.3}) axis.add_values(value);
  const MadeUpStudy made(*store_, spec, [](const MadeUpRun& run, double) {
    return MadeUp{.size = 50 * (1 - run.axis_values[0]) * (1 + 0.02 * run.seed),
                  .polydispersity = 0.5 + 0.01 * run.seed};
  });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Answer& robustness = Find(answers, Topic::TOPIC_ROBUSTNESS);
  const v1::Quantity& slope = Find(robustness, "relative_slope", "size against");
  EXPECT_NEAR(slope.value(), -1 / 0.85, 0.1);
  EXPECT_LT(slope.high(), 0);
  EXPECT_NEAR(Find(robustness, "relative_change", "size against").value(), -0.3, 0.05);
  const v1::Quantity& polydispersity = Find(robustness, "relative_change", "polydispersity against");
  EXPECT_LT(polydispersity.low(), 0);
  EXPECT_GT(polydispersity.high(), 0);
  EXPECT_THAT(robustness.summary(), HasSubstr("size against amplitude spread"));
  EXPECT_THAT(robustness.summary(), testing::Not(HasSubstr("polydispersity")));
  EXPECT_NEAR(Find(robustness, "spread_over_seeds", "size").value(), 0.02, 0.01);
}

TEST_F(AnswersTest, MorphologiesHaveTheirClassesAndSpacings) {
  v1::StudySpec spec = MapStudy();
  spec.mutable_bed()->set_bead_count(2048);
  const MadeUpStudy made(*store_, spec, [](const MadeUpRun& run, double time) {
    MadeUp now = Rising(run, time);
    now.spacing = 2 * std::sqrt(now.size);
    now.polydispersity = 1 / std::sqrt(now.size);
    now.word = run.axis_values[0] < 16 ? 0 : run.axis_values[0] < 28 ? 1 : 2;
    return now;
  });
  const v1::Answers answers = Answers(made.id);
  CheckSelfExplaining(answers);
  const v1::Answer& shape = Find(answers, Topic::TOPIC_SHAPE);
  EXPECT_NEAR(Find(shape, "spacing_exponent").value(), 0.5, 0.01);
  EXPECT_EQ(shape.summary(), "Mixed at 3 points, droplets at 3, stripes at 2.");
  const v1::Plot& shapes = FindPlot(shape, "shapes");
  EXPECT_EQ(shapes.rows(4).label(), "droplets");
  EXPECT_EQ(Cell(shapes, 4, "fraction_droplets"), 1);
  const v1::Answer& polydispersity = Find(answers, Topic::TOPIC_UNIFORMITY);
  EXPECT_NEAR(Find(polydispersity, "polydispersity_exponent").value(), -0.5, 0.01);
  EXPECT_NEAR(Find(polydispersity, "lowest_polydispersity").value(), 1 / std::sqrt(30.5), 0.02);
}

TEST_F(AnswersTest, PlateausFlagGrowthAndGiveThePeakToPeakAmplitude) {
  const MadeUpStudy made(*store_, MapStudy(), [](const MadeUpRun& run, double time) {
    const double noise = 0.05 * std::sin(17 * time + run.seed) + 0.05 * std::sin(5.3 * time * time);
    return MadeUp{.size = 10 + noise + (run.axis_values[0] > 24 ? 0.2 * time : 0) + std::sin(2 * M_PI * time)};
  });
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& plateaus = Find(answers, Topic::TOPIC_PLATEAUS);
  EXPECT_NEAR(Find(plateaus, "growing_runs").value(), 2 / 8.0, 0.1);
  const v1::Plot& plot = FindPlot(plateaus, "plateaus");
  ASSERT_EQ(plot.rows_size(), 40);
  EXPECT_THAT(plot.rows(39).mark(), HasSubstr("still growing"));
  EXPECT_NEAR(Cell(plot, 39, "slope"), 0.2, 0.02);
  EXPECT_NEAR(Cell(plot, 0, "swing"), 2, 0.1);
  EXPECT_EQ(plot.rows(0).label(), "studies/1/runs/1");
  EXPECT_NEAR(Cell(FindPlot(plateaus, "phases"), 2, "size_less_mean"), 1, 0.1);  // a quarter of a turn
  ASSERT_GE(plateaus.cautions_size(), 1);
}

TEST_F(AnswersTest, ARunThatEndedEarlyHasThePlateauOfTheTimeItRan) {
  const auto growing = [](const MadeUpRun& run, double time) { return MadeUp{.size = 10 + time + 0.01 * run.seed}; };
  const MadeUpStudy made(*store_, MapStudy(), growing, MadeUpStudy::AllFinish, [](const MadeUpRun&) { return 0.5; });
  const v1::Answers answers = Answers(made.id);
  // 10 of 20 tau were run; the plateau is the last half of these.
  EXPECT_NEAR(Cell(FindPlot(Find(answers, Topic::TOPIC_MAP), "map"), 0, "size"), 10 + 7.5, 0.1);
}

TEST_F(AnswersTest, AnExtendedRunHasThePlateauOfTheTimeItRan) {
  const auto growing = [](const MadeUpRun& run, double time) { return MadeUp{.size = 10 + time + 0.01 * run.seed}; };
  const MadeUpStudy made(*store_, MapStudy(), growing, MadeUpStudy::AllFinish, [](const MadeUpRun&) { return 2.0; });
  const v1::Answers answers = Answers(made.id);
  // 40 instead of 20 tau were run; the plateau is the last half of these.
  EXPECT_NEAR(Cell(FindPlot(Find(answers, Topic::TOPIC_MAP), "map"), 0, "size"), 10 + 30, 0.1);
  EXPECT_THAT(Find(answers, Topic::TOPIC_PLATEAUS).cautions(),
              testing::Not(testing::Contains(HasSubstr("different lengths"))));
}

TEST_F(AnswersTest, RunsOfDifferentLengthsAreNotAveragedInSilence) {
  const auto growing = [](const MadeUpRun& run, double time) { return MadeUp{.size = 10 + time + 0.01 * run.seed}; };
  const MadeUpStudy made(*store_, MapStudy(), growing, MadeUpStudy::AllFinish,
                         [](const MadeUpRun& run) { return run.axis_values[0] == 8 && run.trial == 2 ? 2.0 : 1.0; });
  EXPECT_THAT(Find(Answers(made.id), Topic::TOPIC_PLATEAUS).cautions(),
              testing::Contains(HasSubstr("At amplitude 8: the runs have different lengths, 20 to 40 tau")));
}

TEST_F(AnswersTest, AStudyShorterThanThreePeriodsIsTooShortToTell) {
  v1::StudySpec spec = MapStudy();
  spec.mutable_drive()->mutable_sine()->set_frequency(0.25);  // a plateau of 10 tau: two and a half periods
  const MadeUpStudy made(*store_, spec, Rising);
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& plateaus = Find(answers, Topic::TOPIC_PLATEAUS);
  EXPECT_EQ(Find(plateaus, "undecided_runs").value(), 1);
  EXPECT_EQ(Find(plateaus, "stationary_runs").value(), 0);
  EXPECT_THAT(plateaus.summary(), HasSubstr("40 of 40 are too short to tell"));
  EXPECT_THAT(FindPlot(plateaus, "plateaus").rows(0).mark(), HasSubstr("too short to tell"));
}

TEST_F(AnswersTest, IdenticalRealizationsCountOnce) {
  const MadeUpStudy source(*store_, MapStudy(), Rising);
  const store::BedBytes bed{.bytes = "bed", .step = 40000, .time = 20};
  ASSERT_TRUE(store_->states().Keep(source.id, 1, bed).ok());
  v1::StudySpec spec = MapStudy();
  spec.mutable_start()->mutable_saved()->set_run("studies/1/runs/1/states/40000");
  const auto same = [](const MadeUpRun& run, double) { return MadeUp{.size = 10 + run.axis_values[0]}; };
  spec.mutable_thermal()->set_temperature(0);
  const MadeUpStudy made(*store_, spec, same);
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& map = Find(answers, Topic::TOPIC_MAP);
  EXPECT_EQ(Cell(FindPlot(map, "map"), 0, "trials"), 1);
  ASSERT_EQ(map.left_out_size(), 1);
  EXPECT_THAT(map.left_out(0).reason(), HasSubstr("identical to another realization"));
  EXPECT_EQ(map.left_out(0).count(), 8 * 4);
  // With noise the realizations differ.
  spec.mutable_thermal()->set_temperature(0.01);
  const MadeUpStudy noisy(*store_, spec, Rising);
  EXPECT_EQ(Cell(FindPlot(Find(Answers(noisy.id), Topic::TOPIC_MAP), "map"), 0, "trials"), 5);
}

TEST_F(AnswersTest, ARunThatEndedBeforeItsLastStageIsExcluded) {
  const auto steady = [](const MadeUpRun& run, double) { return MadeUp{.size = 10 + 0.01 * run.seed}; };
  const MadeUpStudy made(*store_, StagedStudy({10, 40}, 20), steady, MadeUpStudy::AllFinish,
                         [](const MadeUpRun&) { return 0.4; });
  const v1::Answers answers = Answers(made.id);
  const v1::Answer& plateaus = Find(answers, Topic::TOPIC_PLATEAUS);
  EXPECT_EQ(plateaus.why_not(), "no ended run has the required data");
  ASSERT_EQ(plateaus.left_out_size(), 1);
  EXPECT_EQ(plateaus.left_out(0).reason(), "no sample on the plateau");
}

/// Checks what holds for any snapshots and returns their captions.
std::vector<std::string> Captions(store::Store& store, int64_t study, const v1::Answers& answers) {
  std::vector<std::string> captions;
  std::set<std::string> shown;
  EXPECT_LE(answers.snapshots_size(), 12);
  for (const v1::Snapshot& snapshot : answers.snapshots()) {
    const auto run = store::ParseRunName(snapshot.run());
    EXPECT_TRUE(run.ok()) << snapshot.run();
    EXPECT_EQ(run->study, study);
    EXPECT_EQ(*store.frames().Find(study, run->run, snapshot.step()), snapshot.step());
    EXPECT_TRUE(shown.insert(snapshot.run() + " " + std::to_string(snapshot.step())).second) << "shown twice";
    EXPECT_EQ(snapshot.at_size(), answers.axes_size());
    captions.push_back(snapshot.caption());
  }
  return captions;
}

TEST_F(AnswersTest, SnapshotsOfAMapShowItsPointsOfInterest) {
  const MadeUpStudy made(*store_, MapStudy(), Rising, UnstableAt60);
  const v1::Answers answers = Answers(made.id);
  const auto captions = Captions(*store_, made.id, answers);
  ASSERT_GE(captions.size(), 4u);
  EXPECT_THAT(captions[0], testing::StartsWith("largest domains"));
  EXPECT_THAT(captions, testing::Contains(testing::StartsWith("smallest domains")));
  EXPECT_THAT(captions, testing::Contains(HasSubstr("past the onset at amplitude")));
  EXPECT_THAT(captions, testing::Contains(HasSubstr("in the middle of the saturation regime")));
  EXPECT_THAT(captions.back(), testing::StartsWith("unstable"));
  const v1::Quantity& onset = Find(Find(answers, Topic::TOPIC_MAP), "onset");
  for (const v1::Snapshot& snapshot : answers.snapshots()) {
    if (snapshot.caption().find("past the onset") != std::string::npos) {
      EXPECT_GE(snapshot.at(0).value(), onset.value());
    }
  }
  EXPECT_GT(answers.snapshots(0).value(), answers.snapshots(1).value());
  EXPECT_FALSE(answers.snapshots(answers.snapshots_size() - 1).has_value());
}

TEST_F(AnswersTest, BedsOfAMapAreThoseOfItsPointsWithRunsThatCount) {
  const MadeUpStudy made(*store_, MapStudy(), Rising, UnstableAt60);
  const v1::Answers answers = Answers(made.id);
  std::set<double> shown;
  for (const v1::Snapshot& bed : answers.beds()) {
    const auto run = store::ParseRunName(bed.run());
    ASSERT_TRUE(run.ok()) << bed.run();
    EXPECT_EQ(*store_->frames().Find(made.id, run->run, bed.step()), bed.step());
    ASSERT_EQ(bed.at_size(), 1);
    EXPECT_TRUE(bed.has_value());
    EXPECT_TRUE(shown.insert(bed.at(0).value()).second) << "shown twice";
  }
  std::set<double> wanted(answers.axes(0).values().begin(), answers.axes(0).values().end());
  wanted.erase(60);
  EXPECT_EQ(shown, wanted);
}

TEST_F(AnswersTest, SnapshotsOfStagesShowTheEndOfEach) {
  const auto follows = [](const MadeUpRun& run, double time) {
    return MadeUp{.size = (time < 20 ? 10 : time < 40 ? 30 : 20) + 0.01 * run.seed};
  };
  const MadeUpStudy made(*store_, StagedStudy({10, 40, 20}, 20), follows);
  const v1::Answers answers = Answers(made.id);
  EXPECT_THAT(Captions(*store_, made.id, answers),
              ElementsAre(HasSubstr("end of stage 1"), HasSubstr("end of stage 2"), HasSubstr("end of stage 3")));
  EXPECT_NEAR(answers.snapshots(1).value(), 30, 0.5);
  EXPECT_EQ(answers.snapshots(1).step(), 80'000);
}

TEST_F(AnswersTest, SnapshotsOfOnePointShowTypicalAndExtremeRuns) {
  v1::StudySpec spec = MapStudy();
  spec.clear_axes();
  spec.mutable_drive()->mutable_sine()->set_amplitude(20);
  const MadeUpStudy made(*store_, spec, [](const MadeUpRun& run, double) { return MadeUp{.size = 10 + run.seed}; });
  EXPECT_THAT(Captions(*store_, made.id, Answers(made.id)),
              ElementsAre("typical realization", "largest domains of all realizations",
                          "smallest domains of all realizations"));
}

TEST_F(AnswersTest, AreTheSameFromTheCache) {
  const MadeUpStudy made(*store_, MapStudy(), Rising, UnstableAt60);
  v1::AnalysisOptions options;
  ASSERT_TRUE(FillOptions(&options).ok());
  DigestCache cache;
  const auto first = Analyse(*store_, made.id, options, &cache), second = Analyse(*store_, made.id, options, &cache);
  ASSERT_TRUE(first.ok() && second.ok());
  EXPECT_EQ(first->DebugString(), second->DebugString());
  EXPECT_TRUE(cache.Find({made.id, 1, 161, kDefaultObservable, ""}));
  EXPECT_FALSE(cache.Find({made.id, 1, 162, options.observable(), ""}));
  EXPECT_FALSE(cache.Find({made.id, 36, 161, kDefaultObservable, ""}));  // unstable
}

TEST_F(AnswersTest, ReportsAllOptionsOutOfRangeAtOnce) {
  v1::AnalysisOptions options;
  options.set_equal_fraction(2);
  options.set_onset_factor(0.5);
  const absl::Status status = FillOptions(&options);
  EXPECT_EQ(status.code(), absl::StatusCode::kInvalidArgument);
  EXPECT_THAT(std::string(status.message()), HasSubstr("options.equal_fraction: 2 is too large; at most 1"));
  EXPECT_THAT(std::string(status.message()), HasSubstr("options.onset_factor: 0.5 is too small; over 1"));
}

TEST_F(AnswersTest, AnUnknownObservableIsNamed) {
  const MadeUpStudy made(*store_, MapStudy(), Rising);
  v1::AnalysisOptions options;
  options.set_observable("polydispersit");
  ASSERT_TRUE(FillOptions(&options).ok());
  const auto answers = Analyse(*store_, made.id, options);
  EXPECT_EQ(answers.status().code(), absl::StatusCode::kInvalidArgument);
  EXPECT_THAT(std::string(answers.status().message()), HasSubstr("did you mean polydispersity?"));
}

TEST(StagesTest, CarryOverTheChangesOfAStage) {
  v1::StudySpec spec = StagedStudy({10, 40}, 20);
  v1::Stage& third = *spec.mutable_schedule()->add_stages();
  third.set_label("hot");
  third.set_duration(5);
  third.mutable_step()->set_temperature(0.1);
  third.mutable_ramp()->set_frequency(2);
  v1::Stage& last = *spec.mutable_schedule()->add_stages();
  last.set_duration(5);
  last.mutable_step()->mutable_square()->set_amplitude(7);
  last.mutable_step()->mutable_square()->set_frequency(4);
  study::FillDefaults(&spec);
  const auto stages = StagesOf(study::AtPoint(spec, {}));
  ASSERT_EQ(stages.size(), 4u);
  EXPECT_EQ(stages[1].amplitude, 40);
  EXPECT_EQ(stages[1].period, 1);
  EXPECT_FALSE(stages[1].ramps);
  EXPECT_TRUE(stages[2].ramps);
  EXPECT_EQ(stages[2].label, "hot");
  EXPECT_EQ(stages[2].frequency, 2);
  EXPECT_EQ(stages[3].amplitude, 7);
  EXPECT_EQ(stages[3].period, 0.25);
  EXPECT_DOUBLE_EQ(stages[3].begin, 45);
  EXPECT_NE(stages[0].bed_and_drive, stages[1].bed_and_drive);
  EXPECT_EQ(StagesOf(StagedStudy({10, 40, 10}, 3))[2].bed_and_drive,
            StagesOf(StagedStudy({10, 40, 10}, 3))[0].bed_and_drive);
}

TEST(SweepTest, RisesOnceAndComesBack) {
  const auto sweep = [](const std::vector<double>& amplitudes) {
    return SweepOf(StagesOf(StagedStudy(amplitudes, 1)));
  };
  ASSERT_TRUE(sweep({1, 2, 3, 2, 1}));
  EXPECT_THAT(sweep({1, 2, 3, 2, 1})->up, ElementsAre(0, 1, 2));
  EXPECT_THAT(sweep({1, 2, 3, 2, 1})->down, ElementsAre(2, 3, 4));
  EXPECT_FALSE(sweep({1, 2, 3}));
  EXPECT_FALSE(sweep({3, 2, 1}));
  EXPECT_FALSE(sweep({1, 3, 2}));
  EXPECT_FALSE(sweep({1, 3, 1, 3, 1}));
  EXPECT_FALSE(sweep({2}));
}

}  // namespace
}  // namespace gyrebox::analysis
