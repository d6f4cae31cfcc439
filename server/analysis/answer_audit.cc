// Do the sizes depend on the time step?
#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/answer_parts.h"

namespace gyrebox::analysis {

constexpr Kind kStepChange = {"step_change",
                              "Size with half the time step over that with the study's step, less 1, at the same "
                              "starts.",
                              "Difference of the means of the logarithms, 95 % interval by Student's t; the size is "
                              "said to move where the change is over the spread over starts or over 10 %, whichever "
                              "is smaller, and over chance at 2.5 %.",
                              "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.3", 0.95};

std::optional<StepChange> StepChangeOf(const StudyData& data, const Point& point) {
  std::vector<StepPair> pairs;
  for (const RunDigest& audit : point.audits) {
    const auto run = std::find_if(point.runs.begin(), point.runs.end(),
                                  [&](const RunDigest& one) { return one.trial == audit.trial; });
    if (audit.counts() && run != point.runs.end() && run->counts()) pairs.push_back({run->size(), audit.size()});
  }
  if (pairs.empty()) return std::nullopt;
  std::vector<std::vector<double>> sizes;
  for (const Point& one : data.points) sizes.push_back(Values(one, SizeOf));
  const std::vector<std::span<const double>> all(sizes.begin(), sizes.end());
  return CompareSteps(pairs, PoolLogSpread(all));
}

std::string StepMark(const std::optional<StepChange>& change) {
  return change && change->moves ? "moves with the time step" : "";
}

static std::string PercentText(double change) {
  return (change < 0 ? "-" : "+") + Short(std::abs(100 * change)) + " %";
}

static std::string MovesText(const StudyData& data, const Point& point, const StepChange& change) {
  return Sentence(SettingsOf(data, point), "half the step changes the size by " + PercentText(change.change) + " (" +
                                               PercentText(change.low) + " to " + PercentText(change.high) + ").");
}

/// Runs that became unstable with half the step too, or with it alone, tell nothing of sizes.
static std::string UnstableText(const Point& point) {
  const auto unstable = [](const RunDigest& run) { return run.state == v1::Run::STATE_UNSTABLE; };
  const auto of_step = std::count_if(point.runs.begin(), point.runs.end(), unstable);
  const auto of_half = std::count_if(point.audits.begin(), point.audits.end(), unstable);
  if (of_step + of_half == 0) return "";
  return "unstable: " + std::to_string(of_step) + " of " + std::to_string(point.runs.size()) + " runs with the step, " +
         std::to_string(of_half) + " of " + std::to_string(point.audits.size()) + " with half of it";
}

void AnswerAudit(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  size_t audited = 0, told = 0;
  std::string moves;
  PlotWriter plot("audit", "Change of size with half the time step", answer);
  AxisColumns(data, plan.x_axis, &plot);
  using Role = v1::PlotColumn;
  plot.Column("step_change", "", Role::ROLE_Y, kStepChange.definition, kStepChange.method, kStepChange.reference)
      .Column("step_change_low", "", Role::ROLE_LOW, "Lower end of its 95 % interval.")
      .Column("step_change_high", "", Role::ROLE_HIGH, "Upper end of its 95 % interval.")
      .Column("pairs", "", Role::ROLE_UNSPECIFIED, "Pairs of runs of the same start.");
  for (const Point& point : data.points) {
    if (point.audits.empty()) continue;
    ++audited;
    const Holder holder{.at = SettingsOf(data, point), .trials = point.audits.size()};
    const auto change = StepChangeOf(data, point);
    if (!change) {
      AddQuantity(kStepChange, holder, answer)->set_note(UnstableText(point));
      continue;
    }
    ++told;
    v1::Quantity* quantity =
        AddPlace(kStepChange, holder, {.value = change->change, .low = change->low, .high = change->high}, answer);
    quantity->set_note(change->moves ? "moves with the time step" : "holds");
    std::vector<double> row = point.axis_values;
    row.insert(row.end(), {change->change, change->low, change->high, static_cast<double>(change->pairs)});
    plot.Row(row, "", StepMark(change));
    if (change->moves) moves += " " + MovesText(data, point, *change);
  }
  if (told == 0) return;
  const std::string scope = "Half the time step was tried at " + std::to_string(audited) + " of " +
                            std::to_string(data.points.size()) + " points, those at most risk.";
  answer->set_summary(scope + (moves.empty() ? " No change counts there." : moves));
  if (!moves.empty()) {
    answer->add_cautions(
        "Sizes that move with the time step are of the step, not of the bed: submit the study again "
        "with half of dynamics.time_step.");
  }
}

}  // namespace gyrebox::analysis
