// Do the sizes depend on the time step?
#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "answers/answer_parts.h"
#include "digest/step_audit.h"
#include "estimators/step_change.h"

namespace gyrebox::analysis {

constexpr Kind kStepChange = {
    "step_change", "Size with half the time step over that with the study's step, minus 1, for the same realizations.",
    "Difference of the means of the logarithms by Student's t, with runs of one realization taken as independent; the "
    "spread is the larger of the point's own and that pooled over audited points; the interval is simultaneous for all "
    "sizes of a point. A size moves if the interval excludes 0 and the change exceeds the smaller of 10 % and the "
    "spread over realizations.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3", 1 - kFalseMarks};
/// Max moving points in a summary.
constexpr int kMaxPointsTold = 5;

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
    AddEstimate(kStepChange, holder, {.value = change.change(), .low = change.low(), .high = change.high()}, answer)
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
    plot.Row(row, "", MarkOf(point.counts()));
  }
}

/// Largest change that is not excluded at points that hold.
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
    if (point.audit.verdict() != v1::StepAudit::VERDICT_MOVES || told++ >= kMaxPointsTold) continue;
    text += " " + Sentence(SettingsOf(data, point), "moves by " + ChangesText(point.audit) + ".");
  }
  return text + (told > kMaxPointsTold ? " The plot shows the others." : "");
}

void AnswerAudit(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  for (const Point& point : data.points) {
    if (!point.audits.empty()) WriteQuantities(data, point, answer);
  }
  const size_t holds = CountOf(data, v1::StepAudit::VERDICT_HOLDS), moves = CountOf(data, v1::StepAudit::VERDICT_MOVES);
  if (holds + moves == 0) return;
  WritePlot(data, plan, answer);
  const auto count = [](size_t n) { return std::to_string(n); };
  const size_t audited = holds + moves;
  std::string summary = "At half the time step the size holds at " + count(holds) + " and moves at " + count(moves) +
                        " of " + count(audited) + " audited points, those most at risk; " +
                        count(data.points.size() - audited) + " of " + count(data.points.size()) +
                        " points are not audited.";
  if (holds > 0) {
    summary +=
        " Where it holds, a change of up to " + Short(std::round(100 * LargestLeft(data))) + " % is not excluded.";
  }
  answer->set_summary(summary + MovesText(data));
  if (moves == 0) return;
  answer->add_cautions(
      "Sizes that move with the time step depend on the step, not only on the bed; averages keep them, marked. Submit "
      "the study again with half of dynamics.time_step.");
}

}  // namespace gyrebox::analysis
