#include "digest/digest.h"

#include <algorithm>
#include <cmath>

#include "estimators/response.h"
#include "estimators/statistics.h"
#include "schema/nearest_name.h"

namespace gyrebox::analysis {

constexpr int kPhases = 8;

std::vector<Switch> SwitchesOf(const std::vector<Stage>& stages) {
  std::vector<Switch> switches;
  std::optional<size_t> held;
  for (size_t i = 0; i < stages.size(); ++i) {
    if (stages[i].ramps) continue;
    if (held && stages[*held].bed_and_drive != stages[i].bed_and_drive)
      switches.push_back({*held, i, stages[*held].end});
    held = i;
  }
  return switches;
}

absl::StatusOr<Columns> FindColumns(const std::vector<v1::Observable>& observables, const std::string& name) {
  Columns columns;
  std::vector<std::string> names;
  size_t index = store::kRowHead;
  for (const auto& observable : observables) {
    const bool single = observable.width() == 1;
    if (observable.name() == name) {
      if (!single) return absl::InvalidArgumentError(name + " is not a single number; a table needs one");
      columns.observable = observable;
      columns.size = index;
    }
    if (observable.name() == kNumberAverage) columns.number_average = index;
    if (observable.name() == kWeightAverage) columns.weight_average = index;
    if (observable.name() == "spinner_largest_size") columns.largest = index;
    if (observable.name() == "spinner_wrapping_count") columns.wrapping = index;
    if (observable.name() == "polydispersity") columns.polydispersity = index;
    if (observable.name() == "domain_spacing") columns.spacing = index;
    if (observable.name() == "morphology_class") columns.word = index;
    if (single) names.push_back(observable.name());
    index += observable.width();
  }
  if (columns.size != Columns::kAbsent) return columns;
  std::string known;
  for (const auto& known_name : names) known += (known.empty() ? "" : ", ") + known_name;
  return absl::InvalidArgumentError("the study measures no " + name + schema::DidYouMean(name, names) +
                                    " It measures " + known);
}

Columns SelectColumns(const Columns& columns, Depth depth, std::vector<size_t>* indices) {
  *indices = {0, 1};
  const auto keep = [&](size_t index) {
    if (index == Columns::kAbsent) return Columns::kAbsent;
    const auto known = std::find(indices->begin() + store::kRowHead, indices->end(), index);
    const auto narrow_index = static_cast<size_t>(known - indices->begin());
    if (known == indices->end()) indices->push_back(index);
    return narrow_index;
  };
  Columns narrow;
  narrow.observable = columns.observable;
  narrow.size = keep(columns.size);
  if (depth == Depth::kMean) return narrow;
  narrow.number_average = keep(columns.number_average);
  narrow.weight_average = keep(columns.weight_average);
  if (depth == Depth::kAverages) return narrow;
  narrow.largest = keep(columns.largest);
  narrow.wrapping = keep(columns.wrapping);
  narrow.polydispersity = keep(columns.polydispersity);
  narrow.spacing = keep(columns.spacing);
  narrow.word = keep(columns.word);
  return narrow;
}

/// Samples of a column, without NaN.
static Series ReadColumn(const store::SampleRows& rows, size_t index) {
  Series series;
  for (size_t i = 0; index != Columns::kAbsent && i < rows.size(); ++i) {
    const double value = rows.row(i)[index];
    if (!std::isnan(value)) series.Add(rows.row(i)[1], value);
  }
  return series;
}

static PlateauWindow WindowOf(const Stage& stage, double fraction) {
  const double length = stage.end - stage.begin;
  return {.stage_begin = stage.begin,
          .begin = stage.begin + PlateauStart(length, fraction),
          .end = stage.end,
          .period = stage.period};
}

static std::vector<double> CourseOf(const Series& sizes, double end) {
  std::vector<Moments> bins(kCourseBins);
  for (size_t i = 0; i < sizes.size(); ++i) {
    const double index = sizes.times[i] / end * static_cast<double>(kCourseBins);
    if (index > kCourseBins) break;  // the run was extended
    bins[std::min(kCourseBins - 1, static_cast<size_t>(index))].Add(sizes.values[i]);
  }
  std::vector<double> means;
  for (const Moments& bin : bins) means.push_back(bin.count() > 0 ? bin.mean() : kNone);
  return means;
}

static std::array<double, kWords> FractionsOfWords(SeriesView words) {
  std::array<double, kWords> fractions = {};
  for (const double value : words.values) {
    if (const auto word = static_cast<size_t>(value); word < kWords) ++fractions[word];
  }
  for (double& fraction : fractions) fraction /= static_cast<double>(std::max<size_t>(1, words.size()));
  return fractions;
}

static std::vector<double> ResponsesOf(const Series& sizes, const RunDigest& digest, const std::vector<Stage>& stages) {
  std::vector<double> responses;
  for (const Switch& change : SwitchesOf(stages)) {
    const SeriesView after = Between(sizes, change.begin, stages[change.to].end);
    const double from = digest.stages[change.from].mean, to = digest.stages[change.to].mean;
    responses.push_back(ResponseTime(after, change.begin, from, to).value_or(kNone));
  }
  return responses;
}

RunDigest SummarizeRun(const store::SampleRows& rows, const Columns& columns, const std::vector<Stage>& stages,
                       double fraction, double frequency, double planned_end, Depth depth) {
  RunDigest digest;
  const Series sizes = ReadColumn(rows, columns.size);
  digest.last = WindowOf(stages.back(), fraction);
  const auto last = [&](const Series& series) { return Between(series, digest.last.begin, digest.last.end * 2); };
  digest.number_average = PlateauMean(ReadColumn(rows, columns.number_average), digest.last);
  digest.weight_average = PlateauMean(ReadColumn(rows, columns.weight_average), digest.last);
  if (depth != Depth::kWhole) {
    const double mean = PlateauMean(sizes, digest.last);
    digest.stages.push_back({.count = std::isnan(mean) ? 0u : 1u, .mean = mean});
    return digest;
  }
  const Series others = ReadColumn(rows, columns.other());
  for (const Stage& stage : stages) {
    digest.stages.push_back(MeasurePlateau(sizes, WindowOf(stage, fraction)));
    digest.other_stages.push_back(PlateauMean(others, WindowOf(stage, fraction)));
  }
  digest.largest = PlateauMean(ReadColumn(rows, columns.largest), digest.last);
  digest.wrapping = PlateauMean(ReadColumn(rows, columns.wrapping), digest.last);
  digest.responses = ResponsesOf(sizes, digest, stages);
  digest.polydispersity = PlateauMean(ReadColumn(rows, columns.polydispersity), digest.last);
  digest.spacing = PlateauMean(ReadColumn(rows, columns.spacing), digest.last);
  const Series words = ReadColumn(rows, columns.word);
  digest.words = FractionsOfWords(last(words));
  if (frequency > 0) digest.phase = ResolvePhase(last(sizes), frequency, kPhases);
  digest.course = CourseOf(sizes, planned_end);
  return digest;
}

double FirstTimeNeeded(const std::vector<Stage>& stages, double fraction, Depth depth) {
  return depth == Depth::kWhole ? 0 : WindowOf(stages.back(), fraction).begin;
}

}  // namespace gyrebox::analysis
