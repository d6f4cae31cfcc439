#include "report/series_files.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "output/text.h"

namespace gyrebox::client {

/// Bins of the growth curve in a decade of time.
constexpr int kBinsPerDecade = 20;
/// Its first and last decade, tau.
constexpr int kFirstDecade = -3, kLastDecade = 7;

/// Time from which the plateau of a run is averaged, tau.
static double PlateauFrom(const v1::Run& run, const v1::Answers& answers, const v1::StudySpec& spec) {
  const double fraction = spec.measure().has_plateau_fraction() ? spec.measure().plateau_fraction() : 0.5;
  const int last = spec.schedule().stages_size() - 1;
  double length = last < 0 ? run.time() : spec.schedule().stages(last).duration();
  const std::string varied = "schedule.stages[" + std::to_string(last) + "].duration";
  for (int i = 0; last >= 0 && i < answers.axes_size() && i < run.axis_values_size(); ++i) {
    if (answers.axes(i).field() == varied) length = run.axis_values(i);
  }
  return run.time() - fraction * std::min(length, run.time());
}

static Row RunNumbers(const v1::Run& run) {
  Row cells = {LastPart(run.name())};
  for (const double value : run.axis_values()) cells.push_back(CsvNumber(value));
  cells.push_back(std::to_string(run.trial()));
  return cells;
}

SeriesFiles::SeriesFiles(Client& client, const v1::Answers& answers, const v1::StudySpec& spec, CsvFolder* folder)
    : client_(client), answers_(answers), spec_(spec), folder_(*folder) {}

std::vector<CsvColumn> SeriesFiles::RunColumns() const {
  std::vector<CsvColumn> columns = {{"run", "", "Number of the run in its study."}};
  const auto axes = AxisCsvColumns(answers_);
  columns.insert(columns.end(), axes.begin(), axes.end());
  columns.push_back({"realization", "", "Number of the realization at its point, from 1."});
  return columns;
}

void SeriesFiles::Begin(const v1::ListSamplesResponse& series) {
  std::vector<CsvColumn> columns = RunColumns();
  columns.push_back({"time", "tau", "Time of the sample."});
  for (const v1::Observable& one : series.observables()) {
    if (one.width() == 1) columns.push_back({one.name(), one.unit(), one.definition()});
  }
  samples_ = folder_.Begin("samples", columns);
  for (const Spectrum& spectrum : Spectra()) {
    columns = RunColumns();
    columns.push_back({"plateau_from", "tau", "Time from which the samples of the run are averaged."});
    columns.push_back({spectrum.x, spectrum.x_unit, spectrum.x_definition});
    const size_t before = columns.size();
    for (const char* name : spectrum.observables) {
      for (const v1::Observable& one : series.observables()) {
        if (one.name() != name) continue;
        columns.push_back({name, one.unit(), one.definition(), "Mean over the samples on the plateau of the run."});
      }
    }
    if (columns.size() > before) spectra_[spectrum.file] = folder_.Begin(spectrum.file, columns);
  }
}

/// Mean size in bins of equal width in the logarithm of time.
static std::vector<double> GrowthOf(const v1::ListSamplesResponse& series, int column) {
  std::vector<double> sums((kLastDecade - kFirstDecade) * kBinsPerDecade, 0), counts(sums.size(), 0);
  for (const v1::Sample& sample : series.samples()) {
    const double value = sample.values(column);
    const double bin = sample.time() > 0 ? std::floor((std::log10(sample.time()) - kFirstDecade) * kBinsPerDecade) : -1;
    if (!std::isfinite(value) || bin < 0 || bin >= static_cast<double>(sums.size())) continue;
    sums[static_cast<size_t>(bin)] += value;
    counts[static_cast<size_t>(bin)] += 1;
  }
  for (size_t i = 0; i < sums.size(); ++i) {
    sums[i] = counts[i] > 0 ? sums[i] / counts[i] : std::numeric_limits<double>::quiet_NaN();
  }
  return sums;
}

static std::vector<double> GrowthTimes() {
  std::vector<double> times;
  for (int i = 0; i < (kLastDecade - kFirstDecade) * kBinsPerDecade; ++i) {
    times.push_back(std::pow(10.0, kFirstDecade + (i + 0.5) / kBinsPerDecade));
  }
  return times;
}

absl::Status SeriesFiles::Add(const v1::Run& run) {
  const auto series = client_.ListSamples(run.name());
  if (!series.ok()) return series.status();
  if (series->samples().empty()) return absl::OkStatus();
  if (!samples_) Begin(*series);
  const Row numbers = RunNumbers(run);
  for (const v1::Sample& sample : series->samples()) {
    Row cells = numbers;
    cells.push_back(CsvNumber(sample.time()));
    int index = 0;
    for (const v1::Observable& one : series->observables()) {
      if (one.width() == 1) cells.push_back(CsvNumber(sample.values(index)));
      index += one.width();
    }
    samples_->Add(cells);
  }
  if (run.state() != v1::Run::STATE_FINISHED || run.audit() || run.has_exclusion()) return absl::OkStatus();
  AddMeans(run, *series);
  return absl::OkStatus();
}

void SeriesFiles::AddMeans(const v1::Run& run, const v1::ListSamplesResponse& series) {
  const std::vector<double> at(run.axis_values().begin(), run.axis_values().end());
  int column = 0;
  for (const v1::Observable& one : series.observables()) {
    if (one.name() == answers_.observable().name()) {
      means_.Add("growth", at, GrowthTimes(), {GrowthOf(series, column)});
      break;
    }
    column += one.width();
  }
  // The sides of the bed: a frame of its corner has them.
  v1::FrameWindow corner;
  corner.set_width(1);
  corner.set_height(1);
  const auto frame = client_.GetFrame(run.name(), std::nullopt, corner);
  if (!frame.ok()) return;
  const double from = PlateauFrom(run, answers_, spec_);
  for (const Spectrum& spectrum : Spectra()) {
    if (!spectra_.contains(spectrum.file)) continue;
    std::vector<std::vector<double>> values;
    for (const char* name : spectrum.observables) values.push_back(MeanFrom(series, name, from));
    std::vector<double> x;
    for (size_t i = 0; i < values[0].size(); ++i) {
      x.push_back(PositionOf(spectrum, static_cast<int>(i), std::max(frame->side_x(), frame->side_y())));
      Row cells = RunNumbers(run);
      cells.insert(cells.end(), {CsvNumber(from), CsvNumber(x.back())});
      for (const auto& column_values : values) {
        if (!column_values.empty()) cells.push_back(i < column_values.size() ? CsvNumber(column_values[i]) : "");
      }
      spectra_[spectrum.file]->Add(cells);
    }
    means_.Add(std::string(spectrum.file) + "_means", at, x, values);
  }
}

static v1::PlotColumn PlotColumnOf(const std::string& name, const std::string& unit, v1::PlotColumn::Role role,
                                   const std::string& definition) {
  v1::PlotColumn column;
  column.set_name(name);
  column.set_unit(unit);
  column.set_role(role);
  column.set_definition(definition);
  return column;
}

std::vector<v1::Plot> SeriesFiles::Finish() {
  if (samples_) folder_.End(std::move(samples_));
  for (auto& [name, table] : spectra_) folder_.End(std::move(table));
  std::vector<v1::Plot> plots;
  using Role = v1::PlotColumn;
  if (spec_.schedule().stages_size() < 2) {
    plots.push_back(
        means_.PlotOf(answers_, "growth", "Growth of the size with time",
                      PlotColumnOf("time", "tau", Role::ROLE_X, "Middle of one of 20 bins of each decade of time."),
                      {PlotColumnOf("size", answers_.observable().unit(), Role::ROLE_Y,
                                    "Mean over realizations of the mean size in the bin.")}));
  }
  for (const Spectrum& spectrum : Spectra()) {
    std::vector<v1::PlotColumn> columns;
    for (const char* name : spectrum.observables) {
      columns.push_back(PlotColumnOf(name, "", Role::ROLE_Y, "Mean over realizations of the mean on the plateau."));
    }
    plots.push_back(means_.PlotOf(answers_, std::string(spectrum.file) + "_means", spectrum.title,
                                  PlotColumnOf(spectrum.x, spectrum.x_unit, Role::ROLE_X, spectrum.x_definition),
                                  columns));
  }
  std::erase_if(plots, [](const v1::Plot& plot) { return plot.rows().empty(); });
  return plots;
}

}  // namespace gyrebox::client
