#include <cmath>
#include <iostream>

#include "commands/measure_options.h"
#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
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

static ExitCode Series(const Session& session, const std::string& run, bool csv,
                       const std::optional<v1::MeasureAgain>& again) {
  Client client(session.server);
  const auto series = again ? client.MeasureRun(RunName(run), *again) : client.ListSamples(RunName(run));
  if (!series.ok()) return Report(session, series.status());
  if (session.json) {
    PrintJson(*series);
  } else if (csv) {
    PrintCsv(*series);
  } else {
    PrintText(*series);
  }
  return kDone;
}

void RegisterSeriesCommand(Registry& registry) {
  struct Options {
    std::string name;
    bool csv = false;
    MeasureInput measure;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* series = TakeRun(registry.AddWithJson("series", "Print the samples of a run",
                                                  [o](const Session& session) {
                                                    return Measured(o->measure, [&](const auto& again) {
                                                      return Series(session, o->name, o->csv, again);
                                                    });
                                                  }),
                             &o->name);
  series->add_flag("--csv", o->csv, "Print CSV");
  AddMeasureOptions(series, &o->measure);
}

}  // namespace gyrebox::client
