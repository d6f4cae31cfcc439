#include "answers/table.h"

#include <algorithm>

#include "digest/study_data.h"
#include "estimators/statistics.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

/// "still growing in 2/3"; empty if no realization that counts still grows.
static std::string NoteOf(const Point& point, size_t counted) {
  const auto growing = std::count_if(point.runs.begin(), point.runs.end(),
                                     [](const RunDigest& run) { return run.counts() && run.stages.back().grows(); });
  if (growing == 0) return "";
  return "still growing in " + std::to_string(growing) + "/" + std::to_string(counted);
}

static void AddRow(const Point& point, v1::StudyTable* table) {
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
  row.set_note(NoteOf(point, summary.count));
  row.set_smallest(summary.smallest);
  row.set_largest(summary.largest);
  if (summary.count < 2) return;
  row.set_standard_deviation(summary.standard_deviation);
  row.set_confidence_half_width(summary.confidence_half_width);
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
  table.set_method("Mean over the last " + schema::NumberText(percent, 4) + " % of " +
                   (data->spec().schedule().stages().empty() ? "" : "the last stage of ") +
                   "each run that finished, in whole periods of the drive, then over realizations; the interval is the "
                   "95 % confidence interval of that mean by Student's t.");
  for (const Point& point : data->points) AddRow(point, &table);
  return table;
}

}  // namespace gyrebox::analysis
