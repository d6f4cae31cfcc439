#include "answers/table.h"

#include <cmath>

#include "answers/answer_parts.h"
#include "digest/study_data.h"
#include "estimators/statistics.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

static void AddRow(const Point& point, const LogMean& log, v1::StudyTable* table) {
  v1::TableRow& row = *table->add_rows();
  *row.mutable_audit() = point.audit;
  row.mutable_axis_values()->Assign(point.axis_values.begin(), point.axis_values.end());
  const schema::TrialCounts counts = point.counts();
  row.set_unstable_count(counts.unstable);
  row.set_failed_count(counts.failed);
  row.set_cancelled_count(counts.cancelled);
  row.set_changed_count(counts.changed);
  row.set_excluded_count(counts.excluded);
  row.set_pending_count(counts.waiting);
  const Summary summary = Summarise(Values(point, SizeOf));
  if (summary.count == 0) return;
  row.set_trial_count(static_cast<int32_t>(summary.count));
  row.set_mean(summary.mean);
  row.set_note(SizeNotes(point));
  row.set_smallest(summary.smallest);
  row.set_largest(summary.largest);
  const bool positive = log.count == summary.count;
  if (positive) row.set_geometric_mean(std::exp(log.mean));
  if (summary.count < 2) return;
  row.set_standard_deviation(summary.standard_deviation);
  const double half = positive ? log.HalfWidth(0.95) : summary.confidence_half_width;
  row.set_low(positive ? std::exp(log.mean - half) : summary.mean - half);
  row.set_high(positive ? std::exp(log.mean + half) : summary.mean + half);
}

absl::StatusOr<v1::StudyTable> Tabulate(store::Store& store, int64_t study_id, const std::string& observable,
                                        const study::Stop& stop, DigestCache* cache) {
  const auto data = ReadStudy(store, study_id, observable, Depth::kWhole, cache, nullptr, stop);
  if (!data.ok()) return data.status();
  v1::StudyTable table;
  table.set_study(data->study.name());
  *table.mutable_observable() = data->observable;
  for (const v1::AnalysisAxis& axis : data->axes) {
    table.add_axis_fields(axis.field());
    table.add_axis_units(axis.unit());
  }
  const double percent = 100 * data->spec().measure().plateau_fraction();
  table.set_method(
      "Mean over the last " + schema::NumberText(percent, 4) + " % of " +
      (data->spec().schedule().stages().empty() ? "" : "the last stage of ") +
      "each run that finished, in whole periods of the drive, then over realizations; the interval is that "
      "of 95 % of the geometric mean (of the mean where values are not all above 0) by Student's t.");
  const auto logs = LogMeansOf(*data, SizeOf);
  for (size_t i = 0; i < data->points.size(); ++i) AddRow(data->points[i], logs[i], &table);
  return table;
}

}  // namespace gyrebox::analysis
