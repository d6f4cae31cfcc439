#include <algorithm>
#include <cmath>
#include <iostream>

#include "commands/measure_options.h"
#include "commands/registry.h"
#include "output/long_series.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/nearest_name.h"
#include "schema/number_text.h"

namespace gyrebox::client {

/// Headers of all values of a sample; values of a wide observable are numbered from 0.
static Row Headers(const v1::ListSamplesResponse& series) {
  Row head = {"step", "time [tau]"};
  for (const v1::Observable& observable : series.observables()) {
    for (int i = 0; i < observable.width(); ++i) {
      const std::string name =
          observable.width() == 1 ? observable.name() : observable.name() + "_" + std::to_string(i);
      head.push_back(WithUnit(name, observable.unit()));
    }
  }
  return head;
}

/// Enough digits to distinguish a double from its neighbours.
constexpr int kAllDigits = 17;
constexpr int kShownDigits = 5;

/// A value as text, or `none` if the sample does not hold it.
static std::string Cell(double value, const std::string& none, int digits) {
  return std::isnan(value) ? none : schema::NumberText(value, digits);
}

static void PrintCsv(const v1::ListSamplesResponse& series) {
  WriteCsv(std::cout, Headers(series));
  for (const v1::Sample& sample : series.samples()) {
    Row row = {std::to_string(sample.step()), schema::NumberText(sample.time())};
    for (const double value : sample.values()) row.push_back(Cell(value, "", kAllDigits));
    WriteCsv(std::cout, row);
  }
}

/// Indices, among the values of a sample, of observables that are single numbers.
static std::vector<int> SingleValues(const v1::ListSamplesResponse& series) {
  std::vector<int> positions;
  int index = 0;
  for (const v1::Observable& observable : series.observables()) {
    if (observable.width() == 1) positions.push_back(index);
    index += observable.width();
  }
  return positions;
}

static void PrintText(const v1::ListSamplesResponse& series) {
  std::vector<Row> rows = {{"step", "time"}, {"", "[tau]"}};
  for (const v1::Observable& observable : series.observables()) {
    if (observable.width() != 1) continue;
    rows[0].push_back(observable.name());
    rows[1].push_back(observable.unit().empty() ? "" : "[" + observable.unit() + "]");
  }
  const auto positions = SingleValues(series);
  for (const v1::Sample& sample : series.samples()) {
    Row& row = rows.emplace_back();
    row = {std::to_string(sample.step()), schema::NumberText(sample.time(), 6)};
    for (const int index : positions) row.push_back(Cell(sample.values(index), "-", kShownDigits));
  }
  WriteAligned(std::cout, rows, std::vector<Align>(rows[0].size(), Align::kRight));
}

/// What to print.
struct SeriesInput {
  std::string name;
  std::vector<std::string> columns;  ///< empty for all
  bool csv = false, one_line_per_value = false;
};

/// Keeps only the chosen columns. INVALID_ARGUMENT if one is not measured.
static absl::Status Choose(const std::vector<std::string>& columns, v1::ListSamplesResponse* series) {
  if (columns.empty() || series->observables().empty()) return absl::OkStatus();
  std::vector<std::string> names;
  for (const v1::Observable& observable : series->observables()) names.push_back(observable.name());
  for (const std::string& column : columns) {
    if (std::find(names.begin(), names.end(), column) != names.end()) continue;
    return absl::InvalidArgumentError("--columns: the run has no column " + column + schema::DidYouMean(column, names));
  }
  v1::ListSamplesResponse chosen;
  std::vector<int> indices;
  int index = 0;
  for (const v1::Observable& observable : series->observables()) {
    const bool keep = std::find(columns.begin(), columns.end(), observable.name()) != columns.end();
    if (keep) *chosen.add_observables() = observable;
    for (int i = 0; i < observable.width(); ++i, ++index) {
      if (keep) indices.push_back(index);
    }
  }
  *series->mutable_observables() = chosen.observables();
  for (v1::Sample& sample : *series->mutable_samples()) {
    const auto all = sample.values();
    sample.clear_values();
    for (const int one : indices) sample.add_values(all[one]);
  }
  return absl::OkStatus();
}

static absl::StatusOr<v1::ListSamplesResponse> ReadSeries(Client& client, const std::string& run,
                                                          const SeriesInput& input,
                                                          const std::optional<v1::MeasureAgain>& again) {
  auto series = again ? client.MeasureRun(run, *again) : client.ListSamples(run, input.one_line_per_value);
  if (!series.ok()) return series;
  if (auto status = Choose(input.columns, &*series); !status.ok()) return status;
  return series;
}

/// Prints the series of a run, or of all runs of a study, with one line per value.
static ExitCode PrintLong(const Session& session, const SeriesInput& input,
                          const std::optional<v1::MeasureAgain>& again) {
  Client client(session.server);
  const std::string name = RunName(input.name), study = name.substr(0, name.find("/runs/"));
  const auto axes = client.TabulateRunning(study, 1);
  if (!axes.ok()) return Report(session, axes.status());
  WriteLongHead(std::cout, *axes);
  absl::Status fault;
  const auto print = [&](const v1::Run& run) {
    if (!fault.ok() || run.sample_count() == 0) return;
    const auto series = ReadSeries(client, run.name(), input, again);
    fault = series.status();
    if (fault.ok()) WriteLongSeries(std::cout, run, *series);
  };
  if (name != study) {
    const auto run = client.GetRun(name);
    if (!run.ok()) return Report(session, run.status());
    print(*run);
  } else if (const auto status = client.ForRuns(study, print); !status.ok()) {
    return Report(session, status);
  }
  return fault.ok() ? kDone : Report(session, fault);
}

static ExitCode Series(const Session& session, const SeriesInput& input, const std::optional<v1::MeasureAgain>& again) {
  if (input.one_line_per_value) return PrintLong(session, input, again);
  Client client(session.server);
  const auto series = ReadSeries(client, RunName(input.name), input, again);
  if (!series.ok()) return Report(session, series.status());
  if (session.json) {
    PrintJson(*series);
  } else if (input.csv) {
    PrintCsv(*series);
  } else {
    PrintText(*series);
  }
  return kDone;
}

/// The series of a whole study are CSV with one line per value.
static ExitCode SeriesOf(const Session& session, SeriesInput input, const std::optional<v1::MeasureAgain>& again) {
  const bool whole_study = RunName(input.name).find("/runs/") == std::string::npos;
  if (session.json && (whole_study || input.one_line_per_value)) {
    std::cerr << "gyrebox: --json prints the series of one run; leave --long out and give a run such as 7/3\n";
    return kBadInput;
  }
  if (whole_study && !input.csv && !input.one_line_per_value) {
    std::cerr << "gyrebox: the series of a whole study are printed as CSV; give --csv, or a run such as 7/3\n";
    return kBadInput;
  }
  input.one_line_per_value = input.one_line_per_value || whole_study;
  return Series(session, input, again);
}

void RegisterSeriesCommand(Registry& registry) {
  struct Options {
    SeriesInput input;
    MeasureInput measure;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* series = TakeStudyOrRun(registry.AddWithJson("series", "Print the samples of a run or of a whole study",
                                                         [o](const Session& session) {
                                                           return Measured(o->measure, [&](const auto& again) {
                                                             return SeriesOf(session, o->input, again);
                                                           });
                                                         }),
                                    &o->input.name);
  series->add_flag("--csv", o->input.csv, "Print CSV: one line per sample of a run; for a study as with --long");
  series->add_flag("--long", o->input.one_line_per_value,
                   "Print CSV with one line per value: parameters, drive, bin edges of distributions");
  series->add_option("--columns", o->input.columns, "Observables to print, such as --columns closest_pair,msd_spinner")
      ->delimiter(',')
      ->allow_extra_args(false);
  AddMeasureOptions(series, &o->measure);
}

}  // namespace gyrebox::client
