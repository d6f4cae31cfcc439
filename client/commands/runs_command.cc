#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

static const char* BasisText(const v1::RunRow& row) {
  switch (row.basis()) {
    case v1::RunRow::BASIS_PLATEAU:
      return "plateau";
    case v1::RunRow::BASIS_LAST_SAMPLE:
      return "last sample";
    default:
      return "";
  }
}

/// Names and units of the columns: run, axes, realization, state, length, size and what the size is.
static std::vector<std::pair<std::string, std::string>> ColumnsOf(const v1::TabulateRunsResponse& runs) {
  std::vector<std::pair<std::string, std::string>> columns = {{"run", ""}};
  for (int i = 0; i < runs.axis_fields_size(); ++i) columns.emplace_back(runs.axis_fields(i), runs.axis_units(i));
  columns.insert(columns.end(), {{"realization", ""},
                                 {"audit", ""},
                                 {"state", ""},
                                 {"length", "tau"},
                                 {runs.observable().name(), runs.observable().unit()},
                                 {"size_is", ""}});
  return columns;
}

/// @param number writes a number.
template <class Number>
static Row CellsOf(const v1::RunRow& row, const std::string& name, const Number& number) {
  const v1::Run& run = row.run();
  Row cells = {name};
  for (const double value : run.axis_values()) cells.push_back(number(value));
  cells.insert(cells.end(), {std::to_string(run.trial()), run.audit() ? "half step" : "", StateText(run.state()),
                             number(run.time()), row.has_size() ? number(row.size()) : "", BasisText(row)});
  return cells;
}

constexpr char kSizeIs[] =
    "size: mean over the last plateau of a run that finished and that no user changed or excluded, as in gyrebox "
    "table; "
    "else its last sample; the last column says which";
constexpr int kRunDigits = 5;

static void PrintCsv(const v1::TabulateRunsResponse& runs) {
  WriteCsvComment(std::cout, kSizeIs);
  Row head;
  for (const auto& [name, unit] : ColumnsOf(runs)) head.push_back(WithUnit(name, unit));
  WriteCsv(std::cout, head);
  for (const v1::RunRow& row : runs.rows()) {
    WriteCsv(std::cout, CellsOf(row, row.run().name(), [](double value) { return schema::NumberText(value); }));
  }
}

static void PrintText(const std::string& study, const v1::TabulateRunsResponse& runs) {
  std::cout << schema::Visible(study + "  " + runs.observable().name()) << "\n" << kSizeIs << "\n\n";
  std::vector<Row> rows(2);
  for (const auto& [name, unit] : ColumnsOf(runs)) {
    rows[0].push_back(LastPart(name));
    rows[1].push_back(unit.empty() ? "" : "[" + unit + "]");
  }
  for (const v1::RunRow& row : runs.rows()) {
    rows.push_back(
        CellsOf(row, LastPart(row.run().name()), [](double value) { return schema::NumberText(value, kRunDigits); }));
  }
  std::vector<Align> align(rows[0].size(), Align::kRight);
  align.back() = Align::kLeft;
  WriteAligned(std::cout, rows, align);
}

static ExitCode Runs(const Session& session, const std::string& given, const std::string& observable, bool csv) {
  const std::string study = StudyName(given);
  const auto runs = Client(session.server).TabulateRuns(study, observable);
  if (!runs.ok()) return Report(session, runs.status());
  if (session.json) {
    PrintJson(*runs);
  } else if (csv) {
    PrintCsv(*runs);
  } else {
    PrintText(study, *runs);
  }
  return kDone;
}

void RegisterRunsCommand(Registry& registry) {
  struct Options {
    std::string name, observable;
    bool csv = false;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* runs = TakeStudy(
      registry.AddWithJson("runs", "List the runs of a study with their parameters, states and sizes",
                           [o](const Session& session) { return Runs(session, o->name, o->observable, o->csv); }),
      &o->name);
  runs->add_flag("--csv", o->csv, "Print CSV");
  runs->add_option("--observable", o->observable, "Observable used as the size; default spinner_weight_average_size");
}

}  // namespace gyrebox::client
