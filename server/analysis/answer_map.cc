// How large do the domains grow, and where?
#include <algorithm>
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/effect.h"
#include "analysis/sources.h"
#include "schema/mark_text.h"

namespace gyrebox::analysis {

constexpr char kBootstrap[] = "B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993, chapter 13";
constexpr char kEquivalence[] = "D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 657 (1987)";

constexpr Kind kUndriven = {"undriven", "Size without drive.",
                            "Mean over the trials at amplitude 0 where the curve has that point, else at its smallest "
                            "amplitude, see the note.",
                            kStudent, 0.95};
constexpr Kind kOnset = {"onset",
                         "Amplitude at which the mean over trials first passes onset_factor times the size without "
                         "drive.",
                         "On the straight line between neighbouring points that count; interval by a bootstrap over "
                         "trials, stretched for their small number.",
                         kBootstrap, 0.95};
constexpr Kind kPeak = {"peak", "Place of the largest mean over trials.",
                        "The interval reaches over neighbours whose mean is not lower by a Welch test at 5 %.", kWelch,
                        0.95};
constexpr Kind kPeakSize = {"peak_size", "Mean over the trials at the peak.", "Student's t interval over trials.",
                            kStudent, 0.95};
constexpr Kind kSettledRange = {
    "settled_range",
    "Longest stretch past the onset, from low to high, on which the means of neighbouring points "
    "are equal within equal_share.",
    "90 % Welch interval of each difference within equal_share of the common mean.", kEquivalence, 0};
constexpr Kind kSettledSize = {"settled_size", "Size on the settled range.", "Mean over all trials of its points.",
                               "definition", 0};
constexpr Kind kUnstableRange = {
    "unstable_range",
    "From the first to the last point at which at least half of the trials became unstable, low "
    "and high; such points count in nothing.",
    "Count of runs.", "definition", 0};
constexpr Kind kWindow = {
    "best_window",
    "Point past the onset at which trials are most alike: the smallest standard "
    "deviation over mean.",
    "The interval reaches over neighbours whose relative spread is not larger by an F test at 5 %.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9", 0.95};
constexpr Kind kWindowSpread = {"best_window_spread", "Standard deviation over mean of the trials at the best window.",
                                "Interval by chi-squared.",
                                "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8", 0.95};

/// Widest gap about an onset, as a share of it, over which a straight line is trusted.
constexpr double kWidestGap = 0.5;

/// The point without drive of a curve whose x is the amplitude, else the one with the weakest; null where none counts.
static const CurvePoint* UndrivenOf(const std::vector<CurvePoint>& points) {
  const CurvePoint* weakest = nullptr;
  for (const CurvePoint& point : points) {
    if (point.counts() && (weakest == nullptr || std::abs(point.x) < std::abs(weakest->x))) weakest = &point;
  }
  return weakest;
}

/// What a curve says.
struct Features {
  Place onset;
  double undriven = 0;  ///< 0 where it is not known
  double weakest = 0;   ///< amplitude at which that was taken
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
  v1::Quantity* onset = AddPlace(kOnset, holder, features.onset, answer);
  if (!features.onset.value) return features;
  const Bracket bracket = BracketOf(points, *features.onset.value);
  onset->set_note("between the points at " + Short(bracket.below) + " and " + Short(bracket.above) +
                  (onset->note().empty() ? "" : "; ") + onset->note());
  if (bracket.above - bracket.below > kWidestGap * std::abs(*features.onset.value)) {
    answer->add_cautions(Sentence(holder.at, "the onset lies between " + Short(bracket.below) + " and " +
                                                 Short(bracket.above) + " " + holder.unit +
                                                 "; its place on the straight line between the two is a guess. Add "
                                                 "points there."));
  }
  return features;
}

static const CurvePoint& At(const std::vector<CurvePoint>& points, double x) {
  return *std::find_if(points.begin(), points.end(), [&](const CurvePoint& point) { return point.x == x; });
}

/// Adds what a curve says beyond its onset.
static void WriteFeatures(const StudyData& data, const std::vector<CurvePoint>& points, const Holder& holder,
                          double from_mean, v1::Answer* answer) {
  Holder size = holder;
  size.unit = data.observable.unit();
  const Place peak = FindPeak(points);
  AddPlace(kPeak, holder, peak, answer);
  if (peak.value) AddMean(kPeakSize, size, At(points, *peak.value).trials, answer);
  if (const auto range = FindSettledRange(points, data.options.equal_share(), from_mean)) {
    AddPlace(kSettledRange, holder, {.low = range->first, .high = range->last}, answer);
    AddPlace(kSettledSize, size, {.value = range->mean}, answer);
  } else {
    AddPlace(kSettledRange, holder, {.note = "no two neighbouring points are shown to be equal"}, answer);
  }
  if (const auto range = FindUnstableRange(points)) {
    AddPlace(kUnstableRange, holder, {.low = range->first, .high = range->last}, answer);
  }
  if (const auto window = FindBestWindow(points, from_mean)) {
    Holder of_window = holder;
    of_window.trials = window->n_trials;
    AddPlace(kWindow, of_window, window->place, answer);
    of_window.unit = "";
    const auto spread = RelativeSpread(At(points, *window->place.value).trials);
    if (spread) {
      AddPlace(kWindowSpread, of_window, {.value = spread->value, .low = spread->low, .high = spread->high}, answer);
    }
  }
}

static PlotWriter BeginPlot(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  PlotWriter plot("map", "Size against " + ShortName(data.axes[plan.x_axis].field()), answer);
  AxisColumns(data, plan.x_axis, &plot);
  using Role = v1::PlotColumn;
  plot.MeanColumns("size", data.observable.unit(), "Size of a run: mean over its plateau.")
      .Column("relative_spread", "", Role::ROLE_UNSPECIFIED, "Standard deviation over mean of the trials.")
      .Column("trials", "", Role::ROLE_UNSPECIFIED, "Trials that ran to their end, which alone are averaged.")
      .Column("unstable", "", Role::ROLE_UNSPECIFIED, "Trials that became unstable: shown, in no average.")
      .Column("failed", "", Role::ROLE_UNSPECIFIED, "Trials that failed or were cancelled.")
      .Column("waiting", "", Role::ROLE_UNSPECIFIED, "Trials not at their end yet.");
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
    for (const int count : {counts.counted, counts.unstable, counts.failed, counts.waiting}) row.push_back(count);
    plot->Row(row, "", schema::MarkText(counts));
  }
}

static std::string OnsetText(const Place& onset, const std::string& unit) {
  if (!onset.value) return "";
  std::string text = "the onset is at " + Short(*onset.value) + " " + unit;
  if (onset.low && onset.high) text += " (" + Short(*onset.low) + " to " + Short(*onset.high) + ")";
  return text;
}

/// Onsets against the other axis, where there is just one.
static void WriteOnsets(const StudyData& data, const Plan& plan, const std::vector<CurveOf>& curves,
                        const std::vector<Place>& onsets, v1::Answer* answer) {
  if (data.axes.size() != 2 || curves.size() < 2) return;
  const v1::AnalysisAxis &other = data.axes[1 - plan.x_axis], &along = data.axes[plan.x_axis];
  PlotWriter plot("onsets", "Onset against " + ShortName(other.field()), answer);
  using Role = v1::PlotColumn;
  plot.Column(other.field(), other.unit(), Role::ROLE_X, "Value of this field of the study.")
      .Column("onset", along.unit(), Role::ROLE_Y, kOnset.definition, kOnset.method, kOnset.reference)
      .Column("onset_low", along.unit(), Role::ROLE_LOW, "Lower end of its 95 % interval.")
      .Column("onset_high", along.unit(), Role::ROLE_HIGH, "Upper end of its 95 % interval.");
  for (size_t i = 0; i < curves.size(); ++i) {
    const Place& onset = onsets[i];
    plot.Row(
        {curves[i].at[0].value(), onset.value.value_or(kNone), onset.low.value_or(kNone), onset.high.value_or(kNone)},
        "", onset.note);
  }
}

/// " (52.4 to 97.0, 3 starts)" for a mean; without the interval where one start has none.
static std::string IntervalText(const Summary& summary) {
  const std::string starts = std::to_string(summary.count) + (summary.count == 1 ? " start" : " starts");
  const double half = summary.confidence_half_width;
  if (summary.count < 2) return " (" + starts + ")";
  return " (" + Short(summary.mean - half) + " to " + Short(summary.mean + half) + ", " + starts + ")";
}

/// The largest mean of all, in words.
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
  std::vector<Place> onsets;
  bool undriven_is_driven = false;
  for (const CurveOf& curve : curves) {
    const auto points = curve.With(SizeOf);
    const Holder holder{.unit = unit, .at = curve.at};
    Features features;
    if (plan.x_is_drive) {
      features = WriteOnset(data, points, holder, answer);
      undriven_is_driven = undriven_is_driven || features.weakest != 0;
      plot.MarkPlace("onset", curve.at, features.onset);
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
        "The study has no bed without drive, so the onset is told against the weakest one. Add 0 to the "
        "amplitudes for one that nothing depends on.");
  }
  if (plan.x_is_drive) WriteOnsets(data, plan, curves, onsets, answer);
  answer->set_summary(summary);
}

}  // namespace gyrebox::analysis
