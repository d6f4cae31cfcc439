// What imprint does a middle stage leave on the last one?
#include <algorithm>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/memory.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kReference = {"reference", "Last plateau after the strongest stable middle stage.",
                             "Mean over its realizations, Student's t interval.", kStudent, 0.95};
constexpr Kind kReset = {
    "reset_amplitude",
    "Erasure amplitude: smallest middle amplitude from which on the last plateau equals the reference at all stronger "
    "ones tried.",
    "Erased if the 90 % Welch interval of last plateau minus reference lies within equal_fraction of the reference, up "
    "and down; not erased if it lies outside; else the realizations cannot tell. Grid bracket from the last amplitude "
    "that is not erased to the first from which on all are.",
    kWelchEqual, 0};
constexpr Kind kResolved = {"resolved_difference",
                            "Half-width of a difference of two last plateaus: smaller differences are not resolved.",
                            "Median half-width of the 90 % Welch intervals.", kWelchEqual, 0};
constexpr Kind kMargin = {"margin", "Max difference at which two last plateaus count as equal.",
                          "equal_fraction times the reference.", "definition", 0};
constexpr Kind kNeeded = {
    "trials_needed", "Realizations per amplitude for which equal last plateaus test equal four times in five.",
    "Two one-sided tests at 5 %, normal approximation, with the spread of the reference.", kWelchEqual, 0};
constexpr Kind kIndex = {
    "memory_index",
    "Fraction of the imprint that a middle stage leaves: (last plateau - reference) / (last plateau after the weakest "
    "middle stage - reference); 1 if it changes nothing, 0 if it erases everything.",
    "Ratio of two differences that share the reference, 95 % interval by Fieller's theorem.",
    "E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954)", 0.95};

/// A larger number of realizations is no advice: the difference is about the margin.
constexpr int kMostTold = 100;

/// Length in characters after which a summary gets no further curve.
constexpr size_t kLongestSummary = 400;

static const Trace* TraceAt(const Memory& memory, double x) {
  for (const Trace& trace : memory.traces) {
    if (trace.x == x) return &trace;
  }
  return nullptr;
}

static std::string Word(const Memory& memory, double x, bool counts) {
  if (x == memory.reference_x && counts) return "reference";
  const Trace* trace = TraceAt(memory, x);
  if (trace == nullptr) return "does not count";
  return trace->erased ? "erased" : trace->kept ? "not erased" : "cannot tell";
}

static void WriteRow(const Point& point, const CurvePoint& values, const Memory& memory, const IntervalEstimate& index,
                     PlotWriter* plot) {
  std::vector<double> row = point.axis_values;
  AppendMean(values.trials, &row);
  const Trace* trace = TraceAt(memory, values.x);
  row.push_back(trace ? trace->difference.value : kNone);
  row.push_back(trace ? trace->half_width : kNone);
  for (const auto& value : {index.value, index.low, index.high}) row.push_back(value.value_or(kNone));
  plot->Row(row, Word(memory, values.x, values.counts()), MarkOf(point.counts()));
}

static PlotWriter BeginPlot(const StudyData& data, int axis, v1::Answer* answer) {
  PlotWriter plot("memory", "Last plateau against the amplitude of the middle stage", answer);
  const std::string& unit = data.observable.unit();
  AxisColumns(data, axis, &plot);
  using Role = v1::PlotColumn;
  plot.MeanColumns("last_plateau", unit, "Size on the plateau of the last stage.")
      .Column("difference", unit, Role::ROLE_UNSPECIFIED, "Last plateau minus reference.", kReset.method, kWelchEqual)
      .Column("difference_half_width", unit, Role::ROLE_UNSPECIFIED,
              "Half-width of the 90 % Welch interval of the difference.", "", kWelchEqual)
      .Column("memory_index", "", Role::ROLE_UNSPECIFIED, kIndex.definition, kIndex.method, kIndex.reference)
      .Column("memory_index_low", "", Role::ROLE_UNSPECIFIED, "Lower end of its 95 % interval.")
      .Column("memory_index_high", "", Role::ROLE_UNSPECIFIED, "Upper end of its 95 % interval.");
  return plot;
}

static void WriteNumbers(const StudyData& data, const Memory& memory, const CurveOf& curve, v1::Answer* answer) {
  const Holder size{.unit = data.observable.unit(), .at = curve.at, .trials = memory.reference.count};
  AddValue(kReference, size, memory.reference.mean, memory.reference.confidence_half_width, answer);
  AddEstimate(kReset, {.unit = data.axes[curve.x_axis].unit(), .at = curve.at}, memory.reset, answer);
  AddEstimate(kResolved, size, {.value = memory.resolved}, answer);
  AddEstimate(kMargin, size, {.value = memory.margin}, answer);
  const double needed = TrialsToResolve(memory.reference.standard_deviation, memory.margin);
  AddEstimate(kNeeded, {.at = curve.at}, {.value = needed}, answer);
  if (memory.resolved > memory.margin / 2) {
    answer->add_cautions(Sentence(curve.at, "the half-width of a difference is too close to the margin of " +
                                                Short(memory.margin) + " " + data.observable.unit() +
                                                ": an erased amplitude may not test as erased. It takes " +
                                                Short(needed) + " realizations to do so four times in five."));
  }
}

/// " The 90 % half-width of a difference is 41 beads (47 %)."
static std::string PowerText(const StudyData& data, const Memory& memory) {
  const double fraction = memory.reference.mean > 0 ? 100 * memory.resolved / memory.reference.mean : 0;
  std::string text = " The 90 % half-width of a difference is " + schema::NumberText(memory.resolved, 2) + " " +
                     data.observable.unit();
  if (fraction > 0) text += " (" + schema::NumberText(fraction, 2) + " %)";
  return text + ".";
}

/// The final size after a middle stage, compared with the reference: "smaller than", "larger than", "equal to"; empty
/// if not resolved.
static std::string ComparisonOf(const Trace& trace, const Memory& memory) {
  const Verdict verdict = Judge(trace.difference, memory.margin);
  if (verdict == Verdict::kEqual) return "equal to";
  if (verdict == Verdict::kUnclear) return "";
  return trace.difference.value < 0 ? "smaller than" : "larger than";
}

/// "14", "14 or 20", "28 to 48": consecutive amplitudes.
static std::string AmplitudesText(const std::vector<Trace>& traces, size_t first, size_t last) {
  const std::string text = Short(traces[first].x);
  return last == first ? text : text + (last == first + 1 ? " or " : " to ") + Short(traces[last].x);
}

/// "after a middle stage of 14 or 20 rad/tau the final size is smaller than after 64; for 28 to 48, 4 realizations
/// cannot tell".
static std::string ComparisonsText(const Memory& memory, const std::string& unit) {
  const auto& traces = memory.traces;
  std::string text;
  for (size_t first = 0, last = 0; first < traces.size(); first = last + 1) {
    const std::string comparison = ComparisonOf(traces[first], memory);
    for (last = first; last + 1 < traces.size() && ComparisonOf(traces[last + 1], memory) == comparison;) ++last;
    const std::string amplitudes = AmplitudesText(traces, first, last) + (text.empty() ? " " + unit : "");
    text += text.empty() ? "" : "; ";
    if (comparison.empty()) {
      int needed = 0;
      for (size_t i = first; i <= last; ++i) needed = std::max(needed, traces[i].trials_needed);
      const std::string would =
          needed > kMostTold ? "over " + std::to_string(kMostTold) : "about " + std::to_string(needed);
      text += "for " + amplitudes + ", " + std::to_string(memory.reference.count) + " realizations cannot tell (" +
              would + " would)";
    } else {
      text += "after a middle stage of " + amplitudes + " the final size is " + comparison +
              (comparison == "equal to" ? " that after " : " after ") + Short(memory.reference_x);
    }
  }
  return text;
}

static std::string SummaryOf(const StudyData& data, const Memory& memory, const CurveOf& curve) {
  const std::string& unit = data.axes[curve.x_axis].unit();
  std::string text;
  if (memory.reset.value) {
    text = "a middle stage of " + Short(*memory.reset.value) + " " + unit +
           " or more erases the imprint: the final size equals that after " + Short(memory.reference_x) + " " + unit +
           " within " + schema::NumberText(memory.margin, 2) + " " + data.observable.unit();
    if (memory.reset.low) text += "; one of " + Short(*memory.reset.low) + " " + unit + " does not";
  } else {
    text = ComparisonsText(memory, unit);
  }
  return Sentence(curve.at, text + ".") + PowerText(data, memory);
}

/// Index of the usable point with the smallest x; at least one is usable.
static size_t WeakestOf(const std::vector<CurvePoint>& points) {
  size_t weakest = points.size();
  for (size_t i = 0; i < points.size(); ++i) {
    if (points[i].counts() && (weakest == points.size() || points[i].x < points[weakest].x)) weakest = i;
  }
  return weakest;
}

static std::vector<double> TrialsAt(const std::vector<CurvePoint>& points, double x) {
  for (const CurvePoint& point : points) {
    if (point.x == x && point.counts()) return point.trials;
  }
  return {};
}

/// Number of changes of the drive during a run.
static int Changes(const Point& point) {
  int changes = 0;
  for (size_t i = 1; i < point.stages.size(); ++i) {
    changes += point.stages[i].bed_and_drive != point.stages[i - 1].bed_and_drive ? 1 : 0;
  }
  return changes;
}

/// Memory index of a point; 1 at the weakest stage and 0 at the reference by definition.
static IntervalEstimate IndexOf(const CurvePoint& point, const std::vector<CurvePoint>& points, const Memory& memory) {
  if (!point.counts()) return {.note = "the point is not usable"};
  const CurvePoint& weakest = points[WeakestOf(points)];
  if (point.x == weakest.x) return {.value = 1, .note = "by definition: the weakest middle stage"};
  if (point.x == memory.reference_x) return {.value = 0, .note = "by definition: the reference"};
  return MemoryIndex(point.trials, weakest.trials, TrialsAt(points, memory.reference_x));
}

static void WriteCurve(const StudyData& data, const CurveOf& curve, const Memory& memory, v1::Answer* answer) {
  const auto points = curve.With(SizeOf);
  PlotWriter plot(answer->mutable_plots(0));
  plot.MarkLevel("reference", curve.at, memory.reference.mean, memory.margin);
  plot.MarkEstimate("erasure amplitude", curve.at, memory.reset);
  for (size_t i = 0; i < points.size(); ++i) {
    const IntervalEstimate index = IndexOf(points[i], points, memory);
    AddEstimate(kIndex, {.at = SettingsOf(data, *curve.points[i]), .trials = points[i].trials.size()}, index, answer);
    WriteRow(*curve.points[i], points[i], memory, index, &plot);
  }
  if (Changes(*curve.points[WeakestOf(points)]) > 1) {
    answer->add_cautions(
        Sentence(curve.at, "no bed of the study lacks a middle stage: the memory index takes the weakest instead."));
  }
}

void AnswerMemory(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  std::string summary;
  for (const CurveOf& curve : CurvesAlong(data, *plan.memory_axis)) {
    const auto memory = FindMemory(curve.With(SizeOf), data.options.equal_fraction());
    if (!memory) continue;
    if (answer->plots().empty()) BeginPlot(data, *plan.memory_axis, answer);
    WriteNumbers(data, *memory, curve, answer);
    WriteCurve(data, curve, *memory, answer);
    if (summary.size() < kLongestSummary) summary += (summary.empty() ? "" : " ") + SummaryOf(data, *memory, curve);
  }
  answer->set_summary(summary);
  if (summary.empty()) answer->set_why_not("needs two middle amplitudes with two finished realizations each");
}

}  // namespace gyrebox::analysis
