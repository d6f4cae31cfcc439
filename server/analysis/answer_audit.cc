// Do the sizes depend on the time step?
#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "analysis/answer_parts.h"
#include "analysis/audit.h"
#include "analysis/step_audit.h"

namespace gyrebox::analysis {

constexpr Kind kStepChange = {
    "step_change", "Size with half the time step over that with the study's step, less 1, at the same starts.",
    "Difference of the means of the logarithms by Student's t, as if runs of one start were independent; the spread is "
    "the larger of the point's own and that pooled over audited points; the interval holds for all sizes of a point "
    "together. A size moves where the interval leaves out 0 and the change is over the spread over starts or over 10 "
    "%.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3", 1 - kFalseMarks};
/// Points that move which a summary tells of.
constexpr int kMostPointsTold = 5;

static std::vector<std::string> ObservablesIn(const StudyData& data) {
  std::vector<std::string> names;
  for (const Point& point : data.points) {
    for (const v1::StepChange& change : point.audit.changes()) {
      if (std::find(names.begin(), names.end(), change.observable()) == names.end())
        names.push_back(change.observable());
    }
  }
  return names;
}

static void WriteQuantities(const StudyData& data, const Point& point, v1::Answer* answer) {
  const v1::StepAudit& audit = point.audit;
  Holder holder{.at = SettingsOf(data, point), .trials = static_cast<size_t>(audit.run_count())};
  const std::string note = audit.note().empty() ? "" : "; " + audit.note();
  for (const v1::StepChange& change : audit.changes()) {
    holder.label = change.observable();
    AddPlace(kStepChange, holder, {.value = change.change(), .low = change.low(), .high = change.high()}, answer)
        ->set_note((change.moves() ? "moves" : "holds") + note);
  }
  if (audit.changes().empty()) AddQuantity(kStepChange, holder, answer)->set_note("not audited" + note);
}

static void WritePlot(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  if (plan.x_axis < 0) return;
  PlotWriter plot("audit", "Change of size with half the time step", answer);
  AxisColumns(data, plan.x_axis, &plot);
  using Role = v1::PlotColumn;
  const auto names = ObservablesIn(data);
  for (const std::string& name : names) {
    plot.Column("change_of_" + name, "", Role::ROLE_Y, kStepChange.definition, kStepChange.method,
                kStepChange.reference)
        .Column("change_of_" + name + "_low", "", Role::ROLE_LOW, "Lower end of its interval.")
        .Column("change_of_" + name + "_high", "", Role::ROLE_HIGH, "Upper end of its interval.");
  }
  for (const Point& point : data.points) {
    if (point.audit.changes().empty()) continue;
    std::map<std::string, const v1::StepChange*> by_name;
    for (const v1::StepChange& change : point.audit.changes()) by_name[change.observable()] = &change;
    std::vector<double> row = point.axis_values;
    for (const std::string& name : names) {
      const v1::StepChange* change = by_name[name];
      row.insert(row.end(),
                 {change ? change->change() : kNone, change ? change->low() : kNone, change ? change->high() : kNone});
    }
    plot.Row(row, "", schema::MarkText(point.counts()));
  }
}

/// The largest change that a point which holds may have all the same.
static double LargestLeft(const StudyData& data) {
  double largest = 0;
  for (const Point& point : data.points) {
    if (point.audit.verdict() != v1::StepAudit::VERDICT_HOLDS) continue;
    for (const v1::StepChange& change : point.audit.changes()) {
      largest = std::max({largest, change.high(), -change.low()});
    }
  }
  return largest;
}

static size_t CountOf(const StudyData& data, v1::StepAudit::Verdict verdict) {
  return static_cast<size_t>(std::count_if(data.points.begin(), data.points.end(),
                                           [&](const Point& point) { return point.audit.verdict() == verdict; }));
}

static std::string MovesText(const StudyData& data) {
  std::string text;
  int told = 0;
  for (const Point& point : data.points) {
    if (point.audit.verdict() != v1::StepAudit::VERDICT_MOVES || told++ >= kMostPointsTold) continue;
    text += " " + Sentence(SettingsOf(data, point), "moves by " + ChangesText(point.audit) + ".");
  }
  return text + (told > kMostPointsTold ? " The plot shows the others." : "");
}

void AnswerAudit(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  for (const Point& point : data.points) {
    if (!point.audits.empty()) WriteQuantities(data, point, answer);
  }
  const size_t holds = CountOf(data, v1::StepAudit::VERDICT_HOLDS), moves = CountOf(data, v1::StepAudit::VERDICT_MOVES);
  if (holds + moves == 0) return;
  WritePlot(data, plan, answer);
  const auto count = [](size_t n) { return std::to_string(n); };
  std::string summary = "Half the time step was tried at the points most at risk: " + count(holds) +
                        (holds == 1 ? " holds, " : " hold, ") + count(moves) + (moves == 1 ? " moves; " : " move; ") +
                        count(data.points.size() - holds - moves) + " of " + count(data.points.size()) +
                        " points are not audited.";
  if (holds > 0) {
    summary +=
        " Where it holds, a change of up to " + Short(std::round(100 * LargestLeft(data))) + " % is not excluded.";
  }
  answer->set_summary(summary + MovesText(data));
  if (moves == 0) return;
  answer->add_cautions(
      "Sizes that move with the time step are of the step, not of the bed; averages keep them, with the mark. Submit "
      "the study again with half of dynamics.time_step.");
}

}  // namespace gyrebox::analysis
