#include "digest/run_size.h"

#include <algorithm>
#include <cmath>

#include "digest/digest.h"
#include "study/steering.h"

namespace gyrebox::analysis {

/// Samples from the end of a series among which the last one with a value is searched: costly observables are measured
/// less often.
constexpr double kLastSamples = 64;

static bool WasAdjusted(const v1::Run& run, const std::vector<v1::Adjustment>& journal) {
  const v1::Steering steering = study::ToSteering(journal);
  return std::any_of(steering.adjustments().begin(), steering.adjustments().end(),
                     [&](const auto& adjustment) { return adjustment.step() < run.step(); });
}

static void AddLastSample(const store::SampleRows& rows, size_t column, v1::RunRow* row) {
  for (size_t i = rows.size(); i > 0; --i) {
    const auto sample = rows.row(i - 1);
    if (std::isnan(sample[column])) continue;
    row->set_size(sample[column]);
    row->set_size_time(sample[1]);
    row->set_basis(v1::RunRow::BASIS_LAST_SAMPLE);
    return;
  }
}

absl::Status AddSize(store::Store& store, int64_t study, int64_t number, const v1::StudySpec& at,
                     const std::vector<v1::Adjustment>& journal, v1::RunRow* row, v1::Observable* observable) {
  const v1::Run& run = row->run();
  if (run.sample_count() == 0) return absl::OkStatus();
  const auto observables = store.series().GetObservables(study, number);
  if (!observables.ok()) return observables.status();
  const auto columns = FindColumns(*observables, observable->name());
  if (!columns.ok()) return columns.status();
  *observable = columns->observable;
  std::vector<Stage> stages = StagesOf(at);
  const double planned_end = stages.back().end, fraction = at.measure().plateau_fraction();
  const bool counts = run.state() == v1::Run::STATE_FINISHED && !run.has_exclusion() && !WasAdjusted(run, journal) &&
                      run.time() > stages.back().begin;
  stages.back().end = run.time();
  const double last = run.time() * (1 - std::min(1.0, kLastSamples / static_cast<double>(run.sample_count())));
  std::vector<size_t> indices;
  const Columns narrow = SelectColumns(*columns, Depth::kMean, &indices);
  const double since = counts ? FirstTimeNeeded(stages, fraction, Depth::kMean) : last;
  const auto rows = store.series().ReadColumns(study, number, since, indices);
  if (!rows.ok()) return rows.status();
  if (!counts) {
    AddLastSample(*rows, narrow.size, row);
    return absl::OkStatus();
  }
  const RunDigest digest = SummarizeRun(*rows, narrow, stages, fraction, /*frequency=*/0, planned_end, Depth::kMean);
  if (!digest.counts()) return absl::OkStatus();
  row->set_size(digest.size());
  row->set_basis(v1::RunRow::BASIS_PLATEAU);
  return absl::OkStatus();
}

}  // namespace gyrebox::analysis
