// How sensitive are size and polydispersity to imperfections?
#include <algorithm>
#include <cctype>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/effect.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kSlope = {"relative_slope", "Slope of the logarithm of the value against the field.",
                         "Least-squares line through all realizations, each start with a level of its own; 95 % "
                         "interval.",
                         kLeastSquares, 0.95};
constexpr Kind kChange = {
    "relative_change",
    "Change of the value from the smallest to the largest value of the field, relative to that at the "
    "smallest.",
    "Ratio of the geometric means, start by start, minus 1; Student's t interval of its logarithm.", kModerated, 0.95};
constexpr Kind kSpread = {
    "spread_over_seeds", "Standard deviation over mean of the realizations of a point: the effect of the seeds alone.",
    "From the variance of logarithms, pooled over the points of the study; chi-squared interval with the degrees of "
    "freedom that points with common starts have together (G. E. P. Box, Ann. Math. Stat. 25, 290 (1954)).",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8", 0.95};

/// A value whose sensitivity is measured.
struct Looked {
  const char* name;
  NumberOf number;
};

/// A change of a value over the range of a field.
struct Told {
  std::string label;
  LogMean change;
};

static void WriteEffect(const StudyData& data, const CurveOf& curve, const Looked& looked, std::vector<Told>* told,
                        v1::Answer* answer) {
  const auto effect = FindEffect(curve.With(looked.number));
  if (!effect) return;
  const v1::AnalysisAxis& axis = data.axes[curve.x_axis];
  const std::string label = std::string(looked.name) + " against " + ShortName(axis.field());
  const std::string per = axis.unit().empty() ? "" : "per " + axis.unit();
  AddValue(kSlope, {.unit = per, .at = curve.at, .label = label}, effect->slope.value, effect->slope.HalfWidth(0.95),
           answer);
  const LogMean& change = effect->change;
  const double half = change.HalfWidth(0.95);
  AddEstimate(
      kChange, {.at = curve.at, .label = label, .trials = change.count},
      {.value = std::expm1(change.mean), .low = std::expm1(change.mean - half), .high = std::expm1(change.mean + half)},
      answer);
  told->push_back({AtText(curve.at) + label, change});
}

static void WritePlot(const StudyData& data, int axis, v1::Answer* answer) {
  const std::string& field = data.axes[axis].field();
  std::string name = "robustness_" + field;
  for (char& c : name) c = std::isalnum(static_cast<unsigned char>(c)) ? c : '_';
  PlotWriter plot(name, "Size and polydispersity against " + ShortName(field), answer);
  AxisColumns(data, axis, &plot);
  const auto means = LogMeansOf(data, SizeOf);
  plot.SizeColumns("size", data.observable.unit(), "Size of a run: mean over its plateau.")
      .MeanColumns("polydispersity", "", kPolydispersityDefinition);
  for (const CurveOf& curve : CurvesAlong(data, axis)) {
    for (const Point* point : curve.points) {
      std::vector<double> row = point->axis_values;
      AppendSize(Values(*point, SizeOf), means[point - data.points.data()], &row);
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

/// Spread over realizations, pooled over all points.
static bool WriteSpread(const StudyData& data, const Looked& looked, v1::Answer* answer) {
  std::vector<Sample> samples;
  for (const Point& point : data.points) {
    const CurvePoint values = CurvePointOf(point, 0, looked.number);
    if (values.counts()) samples.push_back(LogsOf(values));
  }
  const VariancePrior pooled = Pool(samples);
  if (!(pooled.most_degrees_of_freedom > 0)) return false;
  const Spread logs = SpreadWithInterval(std::sqrt(pooled.variance), pooled.most_degrees_of_freedom);
  const auto variation = [](double spread) { return std::sqrt(std::expm1(spread * spread)); };
  AddEstimate(kSpread,
              {.label = std::string(looked.name) + "; realizations differ in " + SeedsText(data.spec().trials())},
              {.value = variation(logs.value), .low = variation(logs.low), .high = variation(logs.high)}, answer);
  return true;
}

static std::string PercentText(double change) { return schema::NumberText(100 * change, 2) + " %"; }

static std::string ChangeText(double log) { return PercentText(std::expm1(log)); }

/// The significant changes with their intervals, by Holm's procedure over all; if there are none, the largest shift
/// that is not excluded.
static std::string ChangesText(const std::vector<Told>& told) {
  std::vector<double> p_values;
  for (const Told& one : told) p_values.push_back(one.change.PValue());
  const auto rejected = HolmRejects(p_values, 0.05);
  std::string significant;
  const Told* widest = nullptr;
  const auto shift = [](const Told& one) { return std::abs(one.change.mean) + one.change.HalfWidth(0.95); };
  for (size_t i = 0; i < told.size(); ++i) {
    const LogMean& change = told[i].change;
    const double half = change.HalfWidth(0.95);
    if (rejected[i]) {
      significant += (significant.empty() ? "" : "; ") + told[i].label + " " + ChangeText(change.mean) + " (" +
                     ChangeText(change.mean - half) + " to " + ChangeText(change.mean + half) + ")";
    }
    if (std::isfinite(half) && (widest == nullptr || shift(told[i]) > shift(*widest))) widest = &told[i];
  }
  if (!significant.empty()) return "Significant changes: " + significant + ".";
  if (widest == nullptr) return "No change is resolved over the ranges tried.";
  return "No significant change; a shift by a factor of up to " + schema::NumberText(std::exp(shift(*widest)), 3) +
         " is not excluded (" + widest->label + ").";
}

void AnswerRobustness(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  const Looked kLooked[] = {{"size", SizeOf}, {"polydispersity", PolydispersityOf}};
  bool any = false;
  std::vector<Told> told;
  for (const Looked& looked : kLooked) {
    any = WriteSpread(data, looked, answer) || any;
    for (const int axis : plan.nuisance_axes) {
      for (const CurveOf& curve : CurvesAlong(data, axis)) WriteEffect(data, curve, looked, &told, answer);
    }
  }
  for (const int axis : plan.nuisance_axes) WritePlot(data, axis, answer);
  if (!any) return;
  answer->set_summary(plan.nuisance_axes.empty() ? "The study varies only the seeds." : ChangesText(told));
}

}  // namespace gyrebox::analysis
