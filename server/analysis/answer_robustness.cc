// How do size and uniformity answer to what cannot be held exactly?
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/effect.h"
#include "analysis/sources.h"
#include "schema/mark_text.h"

namespace gyrebox::analysis {

constexpr Kind kSlope = {"relative_slope", "Slope of the value against the field, over the mean of the value.",
                         "Straight line through all trials by least squares, 95 % interval.", kLeastSquares, 0.95};
constexpr Kind kChange = {"relative_change",
                          "Change of the value from the smallest to the largest value of the field, over that at the "
                          "smallest.",
                          "Difference of the means, 95 % Welch interval.", "B. L. Welch, Biometrika 34, 28 (1947)",
                          0.95};
constexpr Kind kSpread = {
    "spread_over_seeds", "Standard deviation over mean of the trials of a point: what the seeds alone do.",
    "Root mean square over the points of the study, weighted by degrees of freedom; 95 % interval by "
    "chi-squared.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8", 0.95};

/// A value that is looked at.
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
  PlotWriter plot(name, "Size and uniformity against " + ShortName(field), answer);
  AxisColumns(data, axis, &plot);
  plot.MeanColumns("size", data.observable.unit(), "Size of a run: mean over its plateau.")
      .MeanColumns("uniformity", "", kUniformityDefinition);
  for (const CurveOf& curve : CurvesAlong(data, axis)) {
    for (const Point* point : curve.points) {
      std::vector<double> row = point->axis_values;
      AppendMean(Values(*point, SizeOf), &row);
      AppendMean(Values(*point, UniformityOf), &row);
      plot.Row(row, "", schema::MarkText(point->counts()));
    }
  }
}

static std::string SeedsText(const v1::Trials& trials) {
  std::string text;
  const auto add = [&](bool varies, const char* what) {
    if (varies) text += (text.empty() ? "" : ", ") + std::string(what);
  };
  add(trials.vary_places(), "starting places");
  add(trials.vary_noise(), "thermal noise");
  add(trials.vary_disorder(), "differences between spinners");
  return text;
}

/// Spread of the trials, over all points: pooled squares of deviations over the mean of their point.
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
  AddPlace(kSpread, {.label = std::string(looked.name) + "; trials differ in " + SeedsText(data.spec().trials())},
           {.value = pooled.value, .low = pooled.low, .high = pooled.high}, answer);
  return true;
}

void AnswerRobustness(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  const Looked kLooked[] = {{"size", SizeOf}, {"uniformity", UniformityOf}};
  bool any = false;
  for (const Looked& looked : kLooked) {
    any = WriteSpread(data, looked, answer) || any;
    for (const int axis : plan.nuisance_axes) {
      for (const CurveOf& curve : CurvesAlong(data, axis)) WriteEffect(data, curve, looked, answer);
    }
  }
  for (const int axis : plan.nuisance_axes) WritePlot(data, axis, answer);
  const auto& quantities = answer->quantities();
  std::string told;
  for (const v1::Quantity& quantity : quantities) {
    if (quantity.name() != kChange.name || !quantity.has_low()) continue;
    if (quantity.low() > 0 || quantity.high() < 0)
      told += (told.empty() ? "" : "; ") + AtText({quantity.at().begin(), quantity.at().end()}) + quantity.label();
  }
  if (!any) return;
  if (plan.nuisance_axes.empty()) {
    answer->set_summary("The study varies the seeds only.");
  } else {
    answer->set_summary(told.empty() ? "No change is told from chance over the ranges tried."
                                     : "Changes told from chance: " + told + ".");
  }
}

}  // namespace gyrebox::analysis
