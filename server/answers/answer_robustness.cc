// How sensitive are size and polydispersity to imperfections?
#include <algorithm>
#include <cctype>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/effect.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kSlope = {"relative_slope", "Slope of the value against the field, over the mean of the value.",
                         "Least-squares line through all realizations, 95 % interval.", kLeastSquares, 0.95};
constexpr Kind kChange = {
    "relative_change",
    "Change of the value from the smallest to the largest value of the field, relative to that at the "
    "smallest.",
    "Difference of the means, 95 % Welch interval.", "B. L. Welch, Biometrika 34, 28 (1947)", 0.95};
constexpr Kind kSpread = {
    "spread_over_seeds", "Standard deviation over mean of the realizations of a point: the effect of the seeds alone.",
    "Root mean square over the points of the study, weighted by degrees of freedom; 95 % chi-squared interval.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8", 0.95};

/// A value whose sensitivity is measured.
struct Looked {
  const char* name;
  NumberOf number;
};

static void WriteEffect(const StudyData& data, const CurveOf& curve, const Looked& looked, v1::Answer* answer) {
  const auto effect = FindEffect(curve.With(looked.number));
  if (!effect) return;
  const v1::AnalysisAxis& axis = data.axes[curve.x_axis];
  const std::string label = std::string(looked.name) + " against " + ShortName(axis.field());
  const std::string per = axis.unit().empty() ? "" : "per " + axis.unit();
  AddValue(kSlope, {.unit = per, .at = curve.at, .label = label}, effect->relative_slope, effect->relative_half_width,
           answer);
  AddValue(kChange, {.at = curve.at, .label = label}, effect->difference.value / effect->at_from,
           effect->difference.HalfWidth(0.95) / std::abs(effect->at_from), answer);
}

static void WritePlot(const StudyData& data, int axis, v1::Answer* answer) {
  const std::string& field = data.axes[axis].field();
  std::string name = "robustness_" + field;
  for (char& c : name) c = std::isalnum(static_cast<unsigned char>(c)) ? c : '_';
  PlotWriter plot(name, "Size and polydispersity against " + ShortName(field), answer);
  AxisColumns(data, axis, &plot);
  plot.MeanColumns("size", data.observable.unit(), "Size of a run: mean over its plateau.")
      .MeanColumns("polydispersity", "", kPolydispersityDefinition);
  for (const CurveOf& curve : CurvesAlong(data, axis)) {
    for (const Point* point : curve.points) {
      std::vector<double> row = point->axis_values;
      AppendMean(Values(*point, SizeOf), &row);
      AppendMean(Values(*point, PolydispersityOf), &row);
      plot.Row(row, "", MarkOf(point->counts()));
    }
  }
}

static std::string SeedsText(const v1::Trials& trials) {
  std::string text;
  const auto add = [&](bool varies, const char* what) {
    if (varies) text += (text.empty() ? "" : ", ") + std::string(what);
  };
  add(trials.vary_positions(), "starting positions");
  add(trials.vary_noise(), "thermal noise");
  add(trials.vary_disorder(), "differences between spinners");
  return text;
}

/// Spread over realizations, pooled over all points as squares of deviations relative to the mean of their point.
static bool WriteSpread(const StudyData& data, const Looked& looked, v1::Answer* answer) {
  std::vector<double> relative;
  double degrees = 0, squares = 0;
  for (const Point& point : data.points) {
    const CurvePoint values{.x = 0, .trials = Values(point, looked.number), .unstable_count = point.counts().unstable};
    const auto spread = values.counts() ? RelativeSpread(values.trials) : std::nullopt;
    if (!spread) continue;
    const auto n = static_cast<double>(values.trials.size() - 1);
    degrees += n;
    squares += n * spread->value * spread->value;
  }
  if (degrees == 0) return false;
  const Spread pooled = SpreadWithInterval(std::sqrt(squares / degrees), degrees);
  AddEstimate(kSpread,
              {.label = std::string(looked.name) + "; realizations differ in " + SeedsText(data.spec().trials())},
              {.value = pooled.value, .low = pooled.low, .high = pooled.high}, answer);
  return true;
}

static std::string PercentText(double change) { return schema::NumberText(100 * change, 2) + " %"; }

/// The significant changes with their intervals; if there are none, the largest shift that is not excluded.
static std::string ChangesText(const v1::Answer& answer) {
  std::string significant, largest_label;
  double largest = 0;
  for (const v1::Quantity& quantity : answer.quantities()) {
    if (quantity.name() != kChange.name || !quantity.has_low() || !quantity.has_high()) continue;
    const std::string label = AtText({quantity.at().begin(), quantity.at().end()}) + quantity.label();
    if (quantity.low() > 0 || quantity.high() < 0) {
      significant += (significant.empty() ? "" : "; ") + label + " " + PercentText(quantity.value()) + " (" +
                     PercentText(quantity.low()) + " to " + PercentText(quantity.high()) + ")";
    }
    const double shift = std::max(quantity.high(), -quantity.low());
    if (shift <= largest) continue;
    largest = shift;
    largest_label = label;
  }
  if (!significant.empty()) return "Significant changes: " + significant + ".";
  if (largest_label.empty()) return "No change is resolved over the ranges tried.";
  return "No significant change; a shift of up to " + PercentText(largest) + " is not excluded (" + largest_label +
         ").";
}

void AnswerRobustness(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  const Looked kLooked[] = {{"size", SizeOf}, {"polydispersity", PolydispersityOf}};
  bool any = false;
  for (const Looked& looked : kLooked) {
    any = WriteSpread(data, looked, answer) || any;
    for (const int axis : plan.nuisance_axes) {
      for (const CurveOf& curve : CurvesAlong(data, axis)) WriteEffect(data, curve, looked, answer);
    }
  }
  for (const int axis : plan.nuisance_axes) WritePlot(data, axis, answer);
  if (!any) return;
  answer->set_summary(plan.nuisance_axes.empty() ? "The study varies only the seeds." : ChangesText(*answer));
}

}  // namespace gyrebox::analysis
