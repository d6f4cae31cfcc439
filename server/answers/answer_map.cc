// How large do the domains grow, and where?
#include <algorithm>
#include <cctype>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/effect.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr char kBest[] = "J. C. Hsu, Ann. Stat. 12, 1136 (1984)";

constexpr Kind kUndriven = {"undriven", "Size without drive.",
                            "Geometric mean over the realizations at amplitude 0 if the curve has that point, else at "
                            "its smallest amplitude, see the note; Student's t interval of logarithms.",
                            kModerated, 0.95};
constexpr Kind kOnset = {"onset",
                         "Amplitude at which the geometric mean over realizations first reaches onset_factor times the "
                         "size without drive.",
                         "Linear interpolation between neighbouring usable points; the interval holds the positions "
                         "whose interpolated ratio, start by start, is not distinguishable from onset_factor.",
                         "E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954)", 0.95};
constexpr Kind kPeak = {"peak", "Position of the largest geometric mean over realizations.",
                        "The interval spans the points that are not smaller than it by one-sided tests, at 5 % for all "
                        "points together; open where the first or last point is among them.",
                        kBest, 0.95};
constexpr Kind kPeakSize = {"peak_size", "Geometric mean over the realizations at the peak.",
                            "Student's t interval of logarithms, at 95 % for all points together, since the largest of "
                            "them was selected (C. E. Bonferroni).",
                            kModerated, 0.95};
constexpr Kind kStationaryRange = {
    "stationary_range",
    "Saturation regime: longest range past the onset, from low to high, in which neighbouring points are equal within "
    "equal_fraction.",
    "90 % interval of each ratio of neighbours, start by start, within 1 plus equal_fraction, up and down.",
    kEquivalence, 0};
constexpr Kind kStationarySize = {"stationary_size", "Size in the saturation regime.",
                                  "Geometric mean over all realizations of its points.", "definition", 0};
constexpr Kind kUnstableRange = {
    "unstable_range",
    "From the first point (low) to the last (high) at which at least half of the realizations became unstable; such "
    "points enter no average.",
    "Count of runs.", "definition", 0};
constexpr Kind kWindow = {
    "best_window", "Most reproducible range: the point past the onset with the smallest spread over its realizations.",
    "The interval spans the points whose spread of logarithms is not larger by F tests, at 5 % for all points "
    "together.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.9", 0.95};
constexpr Kind kWindowSpread = {
    "best_window_spread", "CV of the realizations at the most reproducible point, from the variance of logarithms.",
    "Interval by chi-squared, at 95 % for all points together, since the smallest was selected.",
    "NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8", 0.95};

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

/// A curve of one of the averages.
struct MapCurve {
  const StudyData& data;
  const Average& average;
  const std::vector<LogMean>& means;  ///< of all points of the study
  const CurveOf& along;
  std::vector<CurvePoint> points;
  std::string x_unit;

  Holder holder() const { return {.unit = x_unit, .at = along.at, .label = average.label}; }
  Holder of_size() const {
    Holder holder = this->holder();
    holder.unit = average.observable.unit();
    return holder;
  }
  const LogMean& MeanAt(const Point& point) const { return means[&point - data.points.data()]; }
  const LogMean& MeanAt(double x) const {
    const auto is_there = [&](const CurvePoint& point) { return point.x == x; };
    const auto found = std::find_if(points.begin(), points.end(), is_there);
    return MeanAt(*along.points[found - points.begin()]);
  }
};

static Features WriteOnset(const MapCurve& curve, v1::Answer* answer) {
  Features features;
  const CurvePoint* undriven = UndrivenOf(curve.points);
  if (undriven == nullptr) return features;
  const LogMean& mean = curve.MeanAt(undriven->x);
  v1::Quantity* quantity = AddLogMean(kUndriven, curve.of_size(), mean, mean.HalfWidth(0.95), answer);
  if (undriven->x != 0) quantity->set_note("taken at amplitude " + Short(undriven->x) + ", the smallest of the curve");
  features.undriven = GeometricMean(*undriven);
  features.weakest = undriven->x;
  features.onset = FindOnset(curve.points, *undriven, curve.data.options.onset_factor());
  v1::Quantity* onset = AddEstimate(kOnset, curve.holder(), features.onset, answer);
  if (!features.onset.value) return features;
  const Bracket bracket = BracketOf(curve.points, *features.onset.value);
  onset->set_note("interpolated between the points at " + Short(bracket.below) + " and " + Short(bracket.above) +
                  (onset->note().empty() ? "" : "; ") + onset->note());
  if (curve.average.label.empty() && bracket.above - bracket.below > kWidestGap * std::abs(*features.onset.value)) {
    answer->add_cautions(Sentence(curve.along.at, "the onset lies between " + Short(bracket.below) + " and " +
                                                      Short(bracket.above) + " " + curve.x_unit +
                                                      "; the interpolated position is uncertain. Add points there."));
  }
  return features;
}

/// Adds the features of a curve beyond its onset.
static void WriteFeatures(const MapCurve& curve, double from_mean, v1::Answer* answer) {
  const auto& points = curve.points;
  if (const auto peak = FindLargest(points)) {
    Holder holder = curve.holder();
    holder.trials = peak->mean.count;
    AddEstimate(kPeak, holder, peak->estimate, answer);
    AddLogMean(kPeakSize, curve.of_size(), peak->mean, peak->half_width, answer);
  } else {
    AddEstimate(kPeak, curve.holder(), {.note = "no usable point"}, answer);
  }
  if (const auto range = FindStationaryRange(points, curve.data.options.equal_fraction(), from_mean)) {
    AddEstimate(kStationaryRange, curve.holder(), {.low = range->first, .high = range->last}, answer);
    AddEstimate(kStationarySize, curve.of_size(), {.value = range->mean}, answer);
  } else {
    AddEstimate(kStationaryRange, curve.holder(),
                {.note = "no two neighbouring points are equal within equal_fraction"}, answer);
  }
  if (const auto range = FindUnstableRange(points); range && curve.average.label.empty()) {
    AddEstimate(kUnstableRange, curve.holder(), {.low = range->first, .high = range->last}, answer);
  }
  if (const auto window = FindBestWindow(points, from_mean)) {
    Holder of_window = curve.holder();
    of_window.trials = window->n_trials;
    AddEstimate(kWindow, of_window, window->estimate, answer);
    of_window.unit = "";
    AddEstimate(kWindowSpread, of_window, {.value = window->spread, .low = window->low, .high = window->high}, answer);
  }
}

/// "number-average size" or, for the size of the study, "size".
static std::string NounOf(const Average& average) { return average.label.empty() ? "size" : average.label + " size"; }

static PlotWriter BeginPlot(const StudyData& data, const Plan& plan, const Average& average, v1::Answer* answer) {
  std::string title = NounOf(average) + " against " + ShortName(data.axes[plan.x_axis].field());
  title[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(title[0])));
  PlotWriter plot("map" + average.suffix, title, answer);
  AxisColumns(data, plan.x_axis, &plot);
  using Role = v1::PlotColumn;
  plot.SizeColumns("size", average.observable.unit(), "Size of a run: mean over its plateau.")
      .Column("relative_spread", "", Role::ROLE_UNSPECIFIED, "Standard deviation over mean of the realizations.")
      .Column("largest_fraction", "", Role::ROLE_UNSPECIFIED,
              "Fraction of the spinners in the largest cluster, mean over the plateau and the realizations.")
      .Column("trials", "", Role::ROLE_UNSPECIFIED, "Finished realizations; only these are averaged.")
      .Column("unstable", "", Role::ROLE_UNSPECIFIED, "Realizations that became unstable; shown, but in no average.")
      .Column("failed", "", Role::ROLE_UNSPECIFIED, "Realizations that failed.")
      .Column("cancelled", "", Role::ROLE_UNSPECIFIED, "Cancelled realizations.")
      .Column("waiting", "", Role::ROLE_UNSPECIFIED, "Realizations that have not finished yet.");
  return plot;
}

static void WriteCurve(const MapCurve& curve, PlotWriter* plot) {
  for (const Point* point : curve.along.points) {
    const auto values = Values(*point, curve.average.number());
    const schema::TrialCounts counts = point->counts();
    std::vector<double> row = point->axis_values;
    AppendSize(values, curve.MeanAt(*point), &row);
    const auto spread = RelativeSpread(values);
    row.insert(row.end(), {spread ? spread->value : kNone, FractionInLargest(*point)});
    for (const int count : {counts.counted, counts.unstable, counts.failed, counts.cancelled, counts.waiting}) {
      row.push_back(count);
    }
    plot->Row(row, "", SizeMarkOf(*point));
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

/// "55.1 beads (52.4 to 57.0, 3 realizations)"; no interval for a single realization.
static std::string SizeText(const LogMean& mean, const std::string& unit) {
  const std::string count = std::to_string(mean.count) + (mean.count == 1 ? " realization" : " realizations");
  const double half = mean.HalfWidth(0.95);
  const std::string interval =
      mean.count < 2 ? "" : Short(std::exp(mean.mean - half)) + " to " + Short(std::exp(mean.mean + half)) + ", ";
  return Short(std::exp(mean.mean)) + " " + unit + " (" + interval + count + ")";
}

/// A sentence on the largest of all points, with its age.
static std::string LargestText(const StudyData& data, const Plan& plan, const Average& average,
                               const std::vector<LogMean>& means) {
  const Point* largest = nullptr;
  for (size_t i = 0; i < means.size(); ++i) {
    if (means[i].count == 0 || !CurvePointOf(data.points[i], 0, average.number()).counts()) continue;
    if (largest == nullptr || means[i].mean > means[largest - data.points.data()].mean) largest = &data.points[i];
  }
  if (largest == nullptr) return "";
  const std::string x = ShortName(data.axes[plan.x_axis].field()) + " " + Short(largest->axis_values[plan.x_axis]);
  std::string at = x;
  for (const auto& setting : SettingsOf(data, *largest)) {
    if (setting.field() != data.axes[plan.x_axis].field()) {
      at += ", " + ShortName(setting.field()) + " " + Short(setting.value());
    }
  }
  return "The largest " + NounOf(average) + " is " +
         SizeText(means[largest - data.points.data()], average.observable.unit()) + ", at " + at +
         (average.label.empty() ? "," + AgeText(*largest) : "") + ".";
}

/// Answers for one of the averages. @return its part of the summary.
static std::string AnswerFor(const StudyData& data, const Plan& plan, const Average& average, v1::Answer* answer) {
  const auto curves = CurvesAlong(data, plan.x_axis);
  const auto means = LogMeansOf(data, average.number());
  const std::string& unit = data.axes[plan.x_axis].unit();
  std::string summary = LargestText(data, plan, average, means);
  if (summary.empty()) return summary;
  PlotWriter plot = BeginPlot(data, plan, average, answer);
  std::vector<IntervalEstimate> onsets;
  bool undriven_is_driven = false;
  for (const CurveOf& along : curves) {
    const MapCurve curve{data, average, means, along, along.With(average.number()), unit};
    Features features;
    if (plan.x_is_drive) {
      features = WriteOnset(curve, answer);
      undriven_is_driven = undriven_is_driven || features.weakest != 0;
      plot.MarkEstimate("onset", along.at, features.onset);
      if (features.undriven > 0) plot.MarkLevel("without drive", along.at, features.undriven, 1);
      const std::string text = OnsetText(features.onset, unit);
      if (!text.empty() && curves.size() <= 5 && average.label.empty()) {
        summary += " " + Sentence(along.at, text + ".");
      }
    }
    onsets.push_back(features.onset);
    WriteFeatures(curve, features.undriven * data.options.onset_factor(), answer);
    WriteCurve(curve, &plot);
  }
  if (!average.label.empty()) return summary;
  if (undriven_is_driven) {
    answer->add_cautions(
        "The study has no bed without drive: the onset is relative to the weakest drive. Add 0 to the amplitudes for "
        "an absolute onset.");
  }
  if (plan.x_is_drive) WriteOnsets(data, plan, curves, onsets, answer);
  return summary;
}

/// Warns of points whose largest cluster holds a tenth of the spinners.
static void WarnOfFractions(const StudyData& data, v1::Answer* answer) {
  const Point* worst = nullptr;
  size_t count = 0;
  for (const Point& point : data.points) {
    const double fraction = FractionInLargest(point);
    if (!(fraction > kMaxFractionOfSpinners)) continue;
    ++count;
    if (worst == nullptr || fraction > FractionInLargest(*worst)) worst = &point;
  }
  if (worst == nullptr) return;
  answer->add_cautions("At " + std::to_string(count) + " of " + std::to_string(data.points.size()) +
                       " points the largest cluster holds over 10 % of the spinners, up to " +
                       schema::NumberText(100 * FractionInLargest(*worst), 2) + " % " +
                       AtText(SettingsOf(data, *worst)) + "the bed limits the size there. Repeat with a larger bed.");
}

void AnswerMap(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  std::string summary;
  for (const Average& average : AveragesOf(data)) {
    const std::string text = AnswerFor(data, plan, average, answer);
    summary += (summary.empty() || text.empty() ? "" : " ") + text;
    if (summary.empty()) return;
  }
  WarnOfFractions(data, answer);
  answer->set_summary(summary);
}

}  // namespace gyrebox::analysis
