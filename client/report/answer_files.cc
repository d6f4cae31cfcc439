#include "report/answer_files.h"

#include "output/text.h"

namespace gyrebox::client {

/// Whether a name from the server is safe as a file name: only letters, digits and _.
static bool IsPlain(const std::string& name) {
  return !name.empty() && name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789_") == std::string::npos;
}

absl::Status WritePlot(const v1::Plot& plot, CsvFolder* folder) {
  if (!IsPlain(plot.name())) return absl::InternalError("the server names a plot " + plot.name());
  std::vector<CsvColumn> columns;
  for (const v1::PlotColumn& column : plot.columns()) {
    columns.push_back(
        {ColumnName(column.name()), column.unit(), column.definition(), column.method(), column.reference()});
  }
  columns.push_back({"label", "", "What the row is, where its numbers do not say so."});
  columns.push_back({"mark", "", "What a reader must know about the row; empty if it is sound."});
  auto table = folder->Begin(plot.name(), columns);
  for (const v1::PlotRow& row : plot.rows()) {
    Row cells;
    for (const double value : row.values()) cells.push_back(CsvNumber(value));
    cells.insert(cells.end(), {row.label(), row.mark()});
    table->Add(cells);
  }
  folder->End(std::move(table));
  return absl::OkStatus();
}

void WriteQuantities(const v1::Answers& answers, CsvFolder* folder) {
  std::vector<CsvColumn> columns = {{"question", "", "Question of the report."},
                                    {"name", "", "Name of the quantity; defined in the column definition."}};
  for (const CsvColumn& axis : AxisCsvColumns(answers)) {
    columns.push_back(axis);
    columns.back().definition += " Empty if the quantity belongs to no single value.";
  }
  const std::vector<CsvColumn> rest = {
      {"label", "", "What the quantity belongs to, where axes do not say so."},
      {"value", "", "Its value, in the unit of the column unit."},
      {"low", "", "Lower end of its interval; empty if it is open."},
      {"high", "", "Upper end of its interval; empty if it is open."},
      {"unit", "", "Unit of value, low and high."},
      {"confidence", "", "Confidence of the interval; 0 if it is a bracket of the grid."},
      {"realizations", "", "Number of realizations behind it; 0 if no single number applies."},
      {"note", "", "Why there is no value or no interval, or a caveat."},
      {"definition", "", "Definition of the quantity."},
      {"method", "", "Method for value and interval."},
      {"reference", "", "Published source of the method."}};
  columns.insert(columns.end(), rest.begin(), rest.end());
  auto table = folder->Begin("quantities", columns);
  for (const v1::Answer& answer : answers.answers()) {
    for (const v1::Quantity& q : answer.quantities()) {
      Row cells = {answer.title(), q.name()};
      for (const auto& axis : answers.axes()) {
        std::string cell;
        for (const auto& at : q.at()) cell = at.field() == axis.field() ? CsvNumber(at.value()) : cell;
        cells.push_back(cell);
      }
      const auto cell = [](bool given, double value) { return given ? CsvNumber(value) : std::string(); };
      cells.insert(cells.end(), {q.label(), cell(q.has_value(), q.value()), cell(q.has_low(), q.low()),
                                 cell(q.has_high(), q.high()), q.unit(), CsvNumber(q.confidence()),
                                 std::to_string(q.trial_count()), q.note(), q.definition(), q.method(), q.reference()});
      table->Add(cells);
    }
  }
  folder->End(std::move(table));
}

std::vector<CsvColumn> RunCsvColumns(const v1::Answers& answers) {
  std::vector<CsvColumn> columns = {{"run", "", "Number of the run in its study."}};
  const auto axes = AxisCsvColumns(answers);
  columns.insert(columns.end(), axes.begin(), axes.end());
  const std::vector<CsvColumn> rest = {{"realization", "", "Number of the realization at its point, from 1."},
                                       {"seed_positions", "", "Seed of the initial positions."},
                                       {"seed_noise", "", "Seed of the thermal noise."},
                                       {"seed_disorder", "", "Seed of what differs between spinners."},
                                       {"state", "", "State of the run."},
                                       {"time", "tau", "Age of the run."},
                                       {"samples", "", "Number of samples."},
                                       {"device", "", "Device that stepped it."},
                                       {"fault", "", "Why it failed or was stopped."},
                                       {"warning", "", "Warning of the run."},
                                       {"left_out", "", "Who excluded it from the answers, and why."},
                                       {"audit", "", "half step for a run of the audit with half the time step."}};
  columns.insert(columns.end(), rest.begin(), rest.end());
  return columns;
}

Row RunCells(const v1::Run& run) {
  Row cells = {LastPart(run.name())};
  for (const double value : run.axis_values()) cells.push_back(CsvNumber(value));
  const v1::Seeds& seeds = run.seeds();
  cells.insert(cells.end(),
               {std::to_string(run.trial()), std::to_string(seeds.positions()), std::to_string(seeds.noise()),
                std::to_string(seeds.disorder()), StateText(run.state()), CsvNumber(run.time()),
                std::to_string(run.sample_count()), run.device(), run.fault().message(), run.warning(),
                run.has_exclusion() ? run.exclusion().user() + ": " + run.exclusion().reason() : "",
                run.audit() ? "half step" : ""});
  return cells;
}

}  // namespace gyrebox::client
