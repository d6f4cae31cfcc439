#include <algorithm>
#include <cmath>
#include <iostream>

#include "commands/registry.h"
#include "output/text.h"
#include "output/text_table.h"
#include "schema/mark_text.h"
#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

constexpr int kTableDigits = 4;

static std::string Short(double value) { return schema::NumberText(value, kTableDigits); }

static std::string Range(double low, double high) { return Short(low) + " to " + Short(high); }

/// Remark on a point: "unstable 2/3, waiting 1/3".
static std::string Mark(const v1::TableRow& row) {
  return schema::MarkText({.counted = row.trial_count(),
                           .unstable = row.unstable_count(),
                           .failed = row.failed_count(),
                           .cancelled = row.cancelled_count(),
                           .changed = row.changed_count(),
                           .excluded = row.excluded_count(),
                           .waiting = row.pending_count(),
                           .moves_with_step = row.audit().verdict() == v1::StepAudit::VERDICT_MOVES});
}

static std::string Percent(double change) {
  return std::string(change > 0 ? "+" : "") + schema::NumberText(100 * change, 2) + " %";
}

/// Whether some point is audited, or will be.
static bool HasAudit(const v1::StudyTable& table) {
  return std::any_of(table.rows().begin(), table.rows().end(), [](const v1::TableRow& row) {
    return row.audit().verdict() > v1::StepAudit::VERDICT_NOT_AUDITED || !row.audit().note().empty();
  });
}

static const char* VerdictText(const v1::StepAudit& audit) {
  switch (audit.verdict()) {
    case v1::StepAudit::VERDICT_HOLDS:
      return "holds";
    case v1::StepAudit::VERDICT_MOVES:
      return "moves";
    default:
      return "not audited";
  }
}

/// Effect of half the time step: "moves +38 %" with the largest significant change, or "holds within 20 %" with the
/// largest change that is not excluded.
static std::string HalfStep(const v1::StepAudit& audit) {
  double moved = 0, within = 0;
  for (const v1::StepChange& change : audit.changes()) {
    if (change.moves() && std::abs(change.change()) > std::abs(moved)) moved = change.change();
    within = std::max({within, change.high(), -change.low()});
  }
  const std::string verdict = VerdictText(audit);
  if (moved != 0) return verdict + " " + Percent(moved);
  if (audit.verdict() != v1::StepAudit::VERDICT_HOLDS) return verdict;
  return verdict + " within " + schema::NumberText(std::ceil(100 * within), 3) + " %";
}

static Row TextRow(const v1::TableRow& row, bool with_audit) {
  Row cells;
  for (const double value : row.axis_values()) cells.push_back(schema::NumberText(value, 6));
  cells.push_back(row.has_mean() ? Short(row.mean()) : "-");
  cells.push_back(row.has_standard_deviation() ? Short(row.standard_deviation()) : "-");
  cells.push_back(row.has_geometric_mean() ? Short(row.geometric_mean()) : "-");
  cells.push_back(row.has_low() ? Range(row.low(), row.high()) : "-");
  cells.push_back(row.has_mean() ? Range(row.smallest(), row.largest()) : "-");
  cells.push_back(std::to_string(row.trial_count()));
  if (with_audit) cells.push_back(HalfStep(row.audit()));
  const std::string mark = Mark(row);
  cells.push_back(mark + (mark.empty() || row.note().empty() ? "" : ", ") + row.note());
  return cells;
}

static void PrintText(const v1::StudyTable& table) {
  const v1::Observable& observable = table.observable();
  std::cout << schema::Visible(table.study() + "  " + WithUnit(observable.name(), observable.unit())) << "\n";
  if (!observable.definition().empty()) std::cout << schema::Visible(observable.definition()) << "\n";
  std::cout << schema::Visible(table.method()) << "\n\n";
  std::vector<Row> rows(2);
  for (int i = 0; i < table.axis_fields_size(); ++i) {
    rows[0].push_back(LastPart(table.axis_fields(i)));
    rows[1].push_back(table.axis_units(i).empty() ? "" : "[" + table.axis_units(i) + "]");
  }
  const bool with_audit = HasAudit(table);
  rows[0].insert(rows[0].end(), {"mean", "sd", "geometric mean", "95 % interval", "min to max", "realizations"});
  if (with_audit) rows[0].push_back("half step");
  rows[0].emplace_back();
  rows[1].resize(rows[0].size());
  std::vector<Align> align(rows[0].size(), Align::kRight);
  align.back() = Align::kLeft;
  bool unstable = false, excluded = false, moves = false;
  for (const v1::TableRow& row : table.rows()) {
    rows.push_back(TextRow(row, with_audit));
    unstable = unstable || row.unstable_count() > 0;
    excluded = excluded || row.excluded_count() > 0;
    moves = moves || row.audit().verdict() == v1::StepAudit::VERDICT_MOVES;
  }
  if (std::all_of(rows[1].begin(), rows[1].end(), [](const std::string& cell) { return cell.empty(); })) {
    rows.erase(rows.begin() + 1);
  }
  WriteAligned(std::cout, rows, align);
  if (unstable) {
    std::cout
        << "\nunstable n/m: n of m realizations became unstable and were stopped; they are left out of the averages.\n"
        << "gyrebox show " << table.study() << " says why.\n";
  }
  if (excluded) {
    std::cout << "\nleft out n/m: users excluded n of m realizations from the averages; gyrebox show " << table.study()
              << " says who and why.\n";
  }
  if (moves) {
    std::cout
        << "\nmoves with the time step: with half of it the same realizations give another size; averages keep the "
           "point.\ngyrebox report "
        << table.study() << " DIR says by how much, for every compared size.\n";
  }
}

/// The verdict, the change of the table's own observable and its interval, and the observables that move.
static void AddHalfStep(const v1::StudyTable& table, const v1::StepAudit& audit, Row* cells) {
  cells->push_back(VerdictText(audit));
  Row change(3);
  std::string moving;
  for (const v1::StepChange& one : audit.changes()) {
    if (one.moves()) moving += (moving.empty() ? "" : " ") + one.observable();
    if (one.observable() != table.observable().name()) continue;
    change = {schema::NumberText(one.change()), schema::NumberText(one.low()), schema::NumberText(one.high())};
  }
  cells->insert(cells->end(), change.begin(), change.end());
  cells->push_back(moving);
}

static void PrintCsv(const v1::StudyTable& table) {
  const std::string& unit = table.observable().unit();
  Row head;
  for (int i = 0; i < table.axis_fields_size(); ++i) {
    head.push_back(WithUnit(table.axis_fields(i), table.axis_units(i)));
  }
  for (const char* column : {"mean", "standard_deviation", "geometric_mean", "low", "high", "smallest", "largest"}) {
    head.push_back(WithUnit(table.observable().name() + "_" + column, unit));
  }
  head.insert(head.end(), {"trials", "unstable", "failed", "cancelled", "changed", "waiting", "left_out", "half_step",
                           "half_step_change", "half_step_low", "half_step_high", "half_step_moves", "note"});
  WriteCsv(std::cout, head);
  const auto cell = [](bool given, double value) { return given ? schema::NumberText(value) : std::string(); };
  for (const v1::TableRow& row : table.rows()) {
    Row cells;
    for (const double value : row.axis_values()) cells.push_back(schema::NumberText(value));
    cells.push_back(cell(row.has_mean(), row.mean()));
    cells.push_back(cell(row.has_standard_deviation(), row.standard_deviation()));
    cells.push_back(cell(row.has_geometric_mean(), row.geometric_mean()));
    cells.push_back(cell(row.has_low(), row.low()));
    cells.push_back(cell(row.has_high(), row.high()));
    cells.push_back(cell(row.has_smallest(), row.smallest()));
    cells.push_back(cell(row.has_largest(), row.largest()));
    for (const int count : {row.trial_count(), row.unstable_count(), row.failed_count(), row.cancelled_count(),
                            row.changed_count(), row.pending_count(), row.excluded_count()}) {
      cells.push_back(std::to_string(count));
    }
    AddHalfStep(table, row.audit(), &cells);
    cells.push_back(row.note());
    WriteCsv(std::cout, cells);
  }
}

static ExitCode Table(const Session& session, const std::string& study, const std::string& observable, bool csv) {
  const auto table = Client(session.server).TabulateStudy(StudyName(study), observable);
  if (!table.ok()) return Report(session, table.status());
  if (session.json) {
    PrintJson(*table);
  } else if (csv) {
    PrintCsv(*table);
  } else {
    PrintText(*table);
  }
  return kDone;
}

void RegisterTableCommand(Registry& registry) {
  struct Options {
    std::string name, observable;
    bool csv = false;
  };
  const auto o = std::make_shared<Options>();
  CLI::App* table = TakeStudy(
      registry.AddWithJson("table", "Mean over realizations at every point of a study",
                           [o](const Session& session) { return Table(session, o->name, o->observable, o->csv); }),
      &o->name);
  table->add_option("--observable", o->observable, "Observable to average; default spinner_weight_average_size");
  table->add_flag("--csv", o->csv, "Print CSV");
}

}  // namespace gyrebox::client
