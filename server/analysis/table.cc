#include "analysis/table.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/plateau.h"
#include "analysis/statistics.h"
#include "schema/nearest_name.h"
#include "schema/number_text.h"
#include "study/expand.h"
#include "study/rules.h"
#include "study/schedule.h"

namespace gyrebox::analysis {

constexpr int kRunsAtATime = 1000;
/// Numbers of a row before the values: step and time.
constexpr int kRowHead = 2;

/// An observable and its place in a row of samples.
struct Column {
  v1::Observable observable;
  size_t place = 0;
};

static absl::StatusOr<Column> FindColumn(const std::vector<v1::Observable>& observables, const std::string& name) {
  std::vector<std::string> names;
  size_t place = kRowHead;
  for (const auto& observable : observables) {
    if (observable.name() == name) {
      if (observable.width() == 1) return Column{observable, place};
      return absl::InvalidArgumentError(name + " is not a single number; a table needs one");
    }
    if (observable.width() == 1) names.push_back(observable.name());
    place += observable.width();
  }
  std::string known;
  for (const auto& known_name : names) known += (known.empty() ? "" : ", ") + known_name;
  return absl::InvalidArgumentError("the study measures no " + name + schema::DidYouMean(name, names) +
                                    " It measures " + known);
}

/// Builds the rows of a table from runs in their order.
class RowBuilder {
 public:
  RowBuilder(store::Store& store, int64_t study, const v1::StudySpec& spec, std::string observable,
             v1::StudyTable* table)
      : store_(store), study_(study), spec_(spec), observable_(std::move(observable)), table_(table) {}

  absl::Status Add(const v1::Run& run, int64_t number) {
    if (run.trial() == 1) {
      Finish();
      row_ = table_->add_rows();
      *row_->mutable_axis_values() = run.axis_values();
      last_stage_time_ =
          study::LastStageTime(study::AtPoint(spec_, {run.axis_values().begin(), run.axis_values().end()}));
    }
    switch (run.state()) {
      case v1::Run::STATE_FINISHED:
        return AddPlateau(run, number);
      case v1::Run::STATE_UNSTABLE:
        row_->set_unstable_count(row_->unstable_count() + 1);
        return absl::OkStatus();
      case v1::Run::STATE_FAILED:
      case v1::Run::STATE_CANCELLED:
        row_->set_failed_count(row_->failed_count() + 1);
        return absl::OkStatus();
      default:
        row_->set_pending_count(row_->pending_count() + 1);
        return absl::OkStatus();
    }
  }

  /// Ends the row under way.
  void Finish() {
    const Summary summary = Summarise(plateaus_);
    plateaus_.clear();
    if (row_ == nullptr || summary.count == 0) return;
    row_->set_trial_count(static_cast<int32_t>(summary.count));
    row_->set_mean(summary.mean);
    row_->set_smallest(summary.smallest);
    row_->set_largest(summary.largest);
    if (summary.count < 2) return;
    row_->set_standard_deviation(summary.standard_deviation);
    row_->set_confidence_half_width(summary.confidence_half_width);
  }

 private:
  /// Adds the mean over the samples on the plateau that hold the observable; those that do not are NaN.
  absl::Status AddPlateau(const v1::Run& run, int64_t number) {
    const auto observables = store_.GetObservables(study_, number);
    if (!observables.ok()) return observables.status();
    const auto column = FindColumn(*observables, observable_);
    if (!column.ok()) return column.status();
    *table_->mutable_observable() = column->observable;
    const double start = PlateauStart(run.time(), ShareOfRun(run));
    const auto samples = store_.ReadSamplesSince(study_, number, start);
    if (!samples.ok()) return samples.status();
    std::vector<double> values;
    for (size_t i = 0; i < samples->size(); ++i) {
      const double value = samples->row(i)[column->place];
      if (samples->row(i)[1] >= start && !std::isnan(value)) values.push_back(value);
    }
    if (!values.empty()) plateaus_.push_back(Summarise(values).mean);
    return absl::OkStatus();
  }

  /// The plateau's share of the whole run.
  double ShareOfRun(const v1::Run& run) const {
    return spec_.measure().plateau_share() * std::min(1.0, last_stage_time_ / run.time());
  }

  store::Store& store_;
  const int64_t study_;
  const v1::StudySpec& spec_;
  double last_stage_time_ = 0;  ///< of the row under way, tau
  const std::string observable_;
  v1::StudyTable* table_;
  v1::TableRow* row_ = nullptr;
  std::vector<double> plateaus_;
};

static void AddHead(const v1::Study& study, const std::string& observable, v1::StudyTable* table) {
  table->set_study(study.name());
  table->mutable_observable()->set_name(observable);
  for (const auto& axis : study.spec().axes()) {
    table->add_axis_fields(axis.field());
    table->add_axis_units(study::UnitAt(study.spec(), axis.field()));
  }
  const double percent = 100 * study.spec().measure().plateau_share();
  table->set_method("Mean over the last " + schema::NumberText(percent, 4) + " % of " +
                    (study.spec().schedule().stages().empty() ? "" : "the last stage of ") +
                    "each run that ran to its end, then over the trials; the interval is the 95 % confidence " +
                    "interval of that mean by Student's t.");
}

absl::StatusOr<v1::StudyTable> Tabulate(store::Store& store, int64_t study_id, const std::string& observable) {
  const auto study = store.GetStudy(study_id);
  if (!study.ok()) return study.status();
  const std::string name = observable.empty() ? kDefaultObservable : observable;
  v1::StudyTable table;
  AddHead(*study, name, &table);
  RowBuilder rows(store, study_id, study->spec(), name, &table);
  for (int64_t number = 0;;) {
    const auto runs = store.ListRuns(study_id, number, kRunsAtATime);
    if (!runs.ok()) return runs.status();
    if (runs->empty()) break;
    for (const auto& run : *runs) {
      if (auto status = rows.Add(run, ++number); !status.ok()) return status;
    }
  }
  rows.Finish();
  return table;
}

}  // namespace gyrebox::analysis
