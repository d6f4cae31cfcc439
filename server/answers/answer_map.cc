// How large do the domains grow, and where?
#include <algorithm>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/effect.h"

namespace gyrebox::analysis {

constexpr char kBootstrap[] = "B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13";
constexpr char kEquivalence[] = "D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987)";

constexpr Kind kUndriven = {
    "undriven", "Size without drive.",
    "Mean over the realizations at amplitude 0 if the curve has that point, else at its smallest "
    "amplitude, see the note.",
    kStudent, 0.95};
constexpr Kind kOnset = {"onset",
                         "Amplitude at which the mean over realizations first reaches onset_factor times the size "
                         "without drive.",
                         "Linear interpolation between neighbouring usable points; bootstrap interval over "
                         "realizations, stretched for their small number.",
                         kBootstrap, 0.95};
constexpr Kind kPeak = {"peak", "Position of the largest mean over realizations.",
                        "The interval extends over neighbours whose mean is not lower by a Welch test at 5 %.", kWelch,
                        0.95};
constexpr Kind kPeakSize = {"peak_size", "Mean over the realizations at the peak.",
                            "Student's t interval over realizations.", kStudent, 0.95};
constexpr Kind kStationaryRange = {
    "stationary_range",
    "Saturation regime: longest range past the onset, from low to high, in which the means of neighbouring points are "
    "equal within equal_fraction.",
    "90 % Welch interval of each difference within equal_fraction of the common mean.", kEquivalence, 0};
constexpr Kind kStationarySize = {"stationary_size", "Size in the saturation regime.",
                                  "Mean over all realizations of its points.", "definition", 0};
constexpr Kind kUnstableRange = {
    "unstable_range",
    "From the first point (low) to the last (high) at which at least half of the realizations became unstable; such "
    "points enter no average.",
    "Count of runs.", "definition", 0};
constexpr Kind kWindow = {
    "best_window",
    "Most reproducible range: the point past the onset with the smallest standard deviation over mean of its "
    "realizations.",
    "The interval extends over neighbours whose relative spread is not larger by an F test at 5 %.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9", 0.95};
constexpr Kind kWindowSpread = {
    "best_window_spread", "Standard deviation over mean of the realizations at the most reproducible point.",
    "Interval by chi-squared.", "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8", 0.95};

/// Max gap around an onset, as a fraction of it, that is interpolated without a caution.
constexpr double kWidestGap = 0.5;

/// The point without drive of a curve over amplitude, else that with the weakest drive; null if none is usable.
static const CurvePoint* UndrivenOf(const std::vector<CurvePoint>& points) {
  const CurvePoint* weakest = nullptr;
  for (const CurvePoint& point : points) {
    if (point.counts() && (weakest == nullptr || std::abs(point.x) < std::abs(weakest->x))) weakest = &point;
  }
  return weakest;
}

/// Onset of a curve and the size without drive.
struct Features {
  IntervalEstimate onset;
  double undriven = 0;  ///< 0 if unknown
  double weakest = 0;   ///< amplitude of the undriven size; 0 if it is truly undriven
};

static Features WriteOnset(const StudyData& data, const std::vector<CurvePoint>& points, const Holder& holder,
                           v1::Answer* answer) {
  Features features;
  const CurvePoint* undriven = UndrivenOf(points);
  if (undriven == nullptr) return features;
  Holder size = holder;
  size.unit = data.observable.unit();
  v1::Quantity* quantity = AddMean(kUndriven, size, undriven->trials, answer);
  if (undriven->x != 0) quantity->set_note("taken at amplitude " + Short(undriven->x) + ", the smallest of the curve");
  features.undriven = Summarise(undriven->trials).mean;
  features.weakest = undriven->x;
  features.onset = FindOnset(points, undriven->trials, data.options.onset_factor());
  v1::Quantity* onset = AddEstimate(kOnset, holder, features.onset, answer);
  if (!features.onset.value) return features;
  const Bracket bracket = BracketOf(points, *features.onset.value);
  onset->set_note("between the points at " + Short(bracket.below) + " and " + Short(bracket.above) +
                  (onset->note().empty() ? "" : "; ") + onset->note());
  if (bracket.above - bracket.below > kWidestGap * std::abs(*features.onset.value)) {
    answer->add_cautions(Sentence(holder.at, "the onset lies between " + Short(bracket.below) + " and " +
                                                 Short(bracket.above) + " " + holder.unit +
                                                 "; the interpolated position is uncertain. Add points there."));
  }
  return features;
}

static const CurvePoint& At(const std::vector<CurvePoint>& points, double x) {
  return *std::find_if(points.begin(), points.end(), [&](const CurvePoint& point) { return point.x == x; });
}

/// Adds the features of a curve beyond its onset.
static void WriteFeatures(const StudyData& data, const std::vector<CurvePoint>& points, const Holder& holder,
                          double from_mean, v1::Answer* answer) {
  Holder size = holder;
  size.unit = data.observable.unit();
  const IntervalEstimate peak = FindPeak(points);
  AddEstimate(kPeak, holder, peak, answer);
  if (peak.value) AddMean(kPeakSize, size, At(points, *peak.value).trials, answer);
  if (const auto range = FindStationaryRange(points, data.options.equal_fraction(), from_mean)) {
    AddEstimate(kStationaryRange, holder, {.low = range->first, .high = range->last}, answer);
    AddEstimate(kStationarySize, size, {.value = range->mean}, answer);
  } else {
    AddEstimate(kStationaryRange, holder, {.note = "no two neighbouring points are equal within equal_fraction"},
                answer);
  }
  if (const auto range = FindUnstableRange(points)) {
    AddEstimate(kUnstableRange, holder, {.low = range->first, .high = range->last}, answer);
  }
  if (const auto window = FindBestWindow(points, from_mean)) {
    Holder of_window = holder;
    of_window.trials = window->n_trials;
    AddEstimate(kWindow, of_window, window->estimate, answer);
    of_window.unit = "";
    const auto spread = RelativeSpread(At(points, *window->estimate.value).trials);
    if (spread) {
      AddEstimate(kWindowSpread, of_window, {.value = spread->value, .low = spread->low, .high = spread->high}, answer);
    }
  }
}

static PlotWriter BeginPlot(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  PlotWriter plot("map", "Size against " + ShortName(data.axes[plan.x_axis].field()), answer);
  AxisColumns(data, plan.x_axis, &plot);
  using Role = v1::PlotColumn;
  plot.MeanColumns("size", data.observable.unit(), "Size of a run: mean over its plateau.")
      .Column("relative_spread", "", Role::ROLE_UNSPECIFIED, "Standard deviation over mean of the realizations.")
      .Column("trials", "", Role::ROLE_UNSPECIFIED, "Finished realizations; only these are averaged.")
      .Column("unstable", "", Role::ROLE_UNSPECIFIED, "Realizations that became unstable; shown, but in no average.")
      .Column("failed", "", Role::ROLE_UNSPECIFIED, "Realizations that failed.")
      .Column("cancelled", "", Role::ROLE_UNSPECIFIED, "Cancelled realizations.")
      .Column("waiting", "", Role::ROLE_UNSPECIFIED, "Realizations that have not finished yet.");
  return plot;
}

static void WriteCurve(const CurveOf& curve, PlotWriter* plot) {
  for (const Point* point : curve.points) {
    const auto values = Values(*point, SizeOf);
    const schema::TrialCounts counts = point->counts();
    std::vector<double> row = point->axis_values;
    AppendMean(values, &row);
    const auto spread = RelativeSpread(values);
    row.push_back(spread ? spread->value : kNone);
    for (const int count : {counts.counted, counts.unstable, counts.failed, counts.cancelled, counts.waiting})
      row.push_back(count);
    plot->Row(row, "", MarkOf(counts));
  }
}

static std::string OnsetText(const IntervalEstimate& onset, const std::string& unit) {
  if (!onset.value) return "";
  std::string text = "the onset is at " + Short(*onset.value) + " " + unit;
  if (onset.low && onset.high) text += " (" + Short(*onset.low) + " to " + Short(*onset.high) + ")";
  return text;
}

/// Onsets against the other axis, for a study with two axes.
static void WriteOnsets(const StudyData& data, const Plan& plan, const std::vector<CurveOf>& curves,
                        const std::vector<IntervalEstimate>& onsets, v1::Answer* answer) {
  if (data.axes.size() != 2 || curves.size() < 2) return;
  const v1::AnalysisAxis &other = data.axes[1 - plan.x_axis], &along = data.axes[plan.x_axis];
  PlotWriter plot("onsets", "Onset against " + ShortName(other.field()), answer);
  using Role = v1::PlotColumn;
  plot.Column(other.field(), other.unit(), Role::ROLE_X, "Value of this field of the study.")
      .Column("onset", along.unit(), Role::ROLE_Y, kOnset.definition, kOnset.method, kOnset.reference)
      .Column("onset_low", along.unit(), Role::ROLE_LOW, "Lower end of its 95 % interval.")
      .Column("onset_high", along.unit(), Role::ROLE_HIGH, "Upper end of its 95 % interval.");
  for (size_t i = 0; i < curves.size(); ++i) {
    const IntervalEstimate& onset = onsets[i];
    plot.Row(
        {curves[i].at[0].value(), onset.value.value_or(kNone), onset.low.value_or(kNone), onset.high.value_or(kNone)},
        "", {.text = onset.note});
  }
}

/// " (52.4 to 97.0, 3 realizations)" for a mean; no interval for a single realization.
static std::string IntervalText(const Summary& summary) {
  const std::string count = std::to_string(summary.count) + (summary.count == 1 ? " realization" : " realizations");
  const double half = summary.confidence_half_width;
  if (summary.count < 2) return " (" + count + ")";
  return " (" + Short(summary.mean - half) + " to " + Short(summary.mean + half) + ", " + count + ")";
}

/// A sentence on the largest mean of all.
static std::string LargestText(const StudyData& data, const Plan& plan, const std::vector<CurveOf>& curves) {
  double largest = -1;
  std::string text;
  for (const CurveOf& curve : curves) {
    for (const CurvePoint& point : CountingPoints(curve.With(SizeOf))) {
      const Summary summary = Summarise(point.trials);
      if (summary.mean <= largest) continue;
      largest = summary.mean;
      text = "The largest mean is " + Short(summary.mean) + " " + data.observable.unit() + IntervalText(summary) +
             ", at " + ShortName(data.axes[plan.x_axis].field()) + " " + Short(point.x);
      for (const auto& setting : curve.at) text += ", " + ShortName(setting.field()) + " " + Short(setting.value());
    }
  }
  return text.empty() ? text : text + ".";
}

void AnswerMap(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  const auto curves = CurvesAlong(data, plan.x_axis);
  const std::string& unit = data.axes[plan.x_axis].unit();
  std::string summary = LargestText(data, plan, curves);
  if (summary.empty()) return;
  PlotWriter plot = BeginPlot(data, plan, answer);
  std::vector<IntervalEstimate> onsets;
  bool undriven_is_driven = false;
  for (const CurveOf& curve : curves) {
    const auto points = curve.With(SizeOf);
    const Holder holder{.unit = unit, .at = curve.at};
    Features features;
    if (plan.x_is_drive) {
      features = WriteOnset(data, points, holder, answer);
      undriven_is_driven = undriven_is_driven || features.weakest != 0;
      plot.MarkEstimate("onset", curve.at, features.onset);
      if (features.undriven > 0) plot.MarkLevel("without drive", curve.at, features.undriven, 0);
      const std::string text = OnsetText(features.onset, unit);
      if (!text.empty() && curves.size() <= 5) summary += " " + Sentence(curve.at, text + ".");
    }
    onsets.push_back(features.onset);
    WriteFeatures(data, points, holder, features.undriven * data.options.onset_factor(), answer);
    WriteCurve(curve, &plot);
  }
  if (undriven_is_driven) {
    answer->add_cautions(
        "The study has no bed without drive: the onset is relative to the weakest drive. Add 0 to the amplitudes for "
        "an absolute onset.");
  }
  if (plan.x_is_drive) WriteOnsets(data, plan, curves, onsets, answer);
  answer->set_summary(summary);
}

}  // namespace gyrebox::analysis
