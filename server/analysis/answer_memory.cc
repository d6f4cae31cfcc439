// What does the last stage show of the one in the middle?
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/memory.h"
#include "analysis/sources.h"
#include "schema/mark_text.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kReference = {"reference", "Last plateau after the strongest middle stage that is stable.",
                             "Mean over its trials, Student's t interval.", kStudent, 0.95};
constexpr Kind kReset = {
    "reset_amplitude",
    "Smallest middle amplitude from which on the last plateau shows nothing of the middle stage at any "
    "stronger one tried.",
    "Wiped where the 90 % Welch interval of last plateau less reference lies within equal_share of the "
    "reference, up and down; the interval reaches from the last amplitude that is not wiped to the "
    "first from which on all are.",
    kWelchEqual, 0};
constexpr Kind kResolved = {"resolved_difference",
                            "Difference of two last plateaus that these trials could just tell from none.",
                            "Middle one of the half widths of the 90 % Welch intervals.", kWelchEqual, 0};
constexpr Kind kMargin = {"margin", "Difference up to which two last plateaus are called equal.",
                          "equal_share times the reference.", "definition", 0};
constexpr Kind kNeeded = {
    "trials_needed", "Trials at each amplitude for which equal last plateaus would come out equal four times in five.",
    "Two one-sided tests at 5 %, normal approximation, with the spread of the reference.", kWelchEqual, 0};
constexpr Kind kIndex = {
    "memory_index",
    "How much of the memory a middle stage leaves: (last plateau - reference) / (last plateau after the "
    "weakest middle stage - reference); 1 where it changes nothing, 0 where it wipes all.",
    "Ratio of two differences that share the reference, 95 % interval by Fieller's theorem.",
    "E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954)", 0.95};

/// Characters after which no further curve is told of.
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
  return trace->wiped ? "wiped" : trace->kept ? "not wiped" : "cannot tell";
}

static void WriteRow(const Point& point, const CurvePoint& values, const Memory& memory, const Place& index,
                     PlotWriter* plot) {
  std::vector<double> row = point.axis_values;
  AppendMean(values.trials, &row);
  const Trace* trace = TraceAt(memory, values.x);
  row.push_back(trace ? trace->difference.value : kNone);
  row.push_back(trace ? trace->half_width : kNone);
  for (const auto& value : {index.value, index.low, index.high}) row.push_back(value.value_or(kNone));
  plot->Row(row, Word(memory, values.x, values.counts()), schema::MarkText(point.counts()));
}

static PlotWriter BeginPlot(const StudyData& data, int axis, v1::Answer* answer) {
  PlotWriter plot("memory", "Last plateau against the amplitude of the middle stage", answer);
  const std::string& unit = data.observable.unit();
  AxisColumns(data, axis, &plot);
  using Role = v1::PlotColumn;
  plot.MeanColumns("last_plateau", unit, "Size on the plateau of the last stage.")
      .Column("difference", unit, Role::ROLE_UNSPECIFIED, "Last plateau less reference.", kReset.method, kWelchEqual)
      .Column("difference_half_width", unit, Role::ROLE_UNSPECIFIED,
              "Half width of the 90 % Welch interval of the difference.", "", kWelchEqual)
      .Column("memory_index", "", Role::ROLE_UNSPECIFIED, kIndex.definition, kIndex.method, kIndex.reference)
      .Column("memory_index_low", "", Role::ROLE_UNSPECIFIED, "Lower end of its 95 % interval.")
      .Column("memory_index_high", "", Role::ROLE_UNSPECIFIED, "Upper end of its 95 % interval.");
  return plot;
}

static void WriteNumbers(const StudyData& data, const Memory& memory, const CurveOf& curve, v1::Answer* answer) {
  const Holder size{.unit = data.observable.unit(), .at = curve.at, .trials = memory.reference.count};
  AddValue(kReference, size, memory.reference.mean, memory.reference.confidence_half_width, answer);
  AddPlace(kReset, {.unit = data.axes[curve.x_axis].unit(), .at = curve.at}, memory.reset, answer);
  AddPlace(kResolved, size, {.value = memory.resolved}, answer);
  AddPlace(kMargin, size, {.value = memory.margin}, answer);
  const double needed = TrialsToResolve(memory.reference.standard_deviation, memory.margin);
  AddPlace(kNeeded, {.at = curve.at}, {.value = needed}, answer);
  if (memory.resolved > memory.margin / 2) {
    answer->add_cautions(Sentence(curve.at, "the difference that these trials can tell is too near to the margin of " +
                                                Short(memory.margin) + " " + data.observable.unit() +
                                                ": an amplitude that is wiped may not come out so. It takes " +
                                                Short(needed) + " trials for one to come out so four times in five."));
  }
}

/// What the trials at hand could tell at all.
static std::string PowerText(const StudyData& data, const Memory& memory) {
  const double share = memory.reference.mean > 0 ? 100 * memory.resolved / memory.reference.mean : 0;
  std::string text = " With " + std::to_string(memory.reference.count) + " trials a difference of " +
                     Short(memory.resolved) + " " + data.observable.unit();
  if (share > 0) text += ", " + schema::NumberText(share, 2) + " % of the reference,";
  return text + " is just told from none.";
}

static std::string SummaryOf(const StudyData& data, const Memory& memory, const CurveOf& curve) {
  const std::string& unit = data.axes[curve.x_axis].unit();
  if (!memory.reset.value) {
    const std::string most =
        memory.reset.low ? "up to " + Short(*memory.reset.low) + " " + unit : "at no amplitude for sure";
    return Sentence(curve.at, "the bed remembers the middle stage " + most + "; a reset amplitude is " +
                                  memory.reset.note + ".") +
           PowerText(data, memory);
  }
  std::string text = "a middle stage of " + Short(*memory.reset.value) + " " + unit + " or more wipes the bed's memory";
  if (memory.reset.low) text += "; one of " + Short(*memory.reset.low) + " " + unit + " does not";
  return Sentence(curve.at, text + ".") + PowerText(data, memory);
}

/// The point with the smallest x that counts; one does.
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

/// How often the drive changes in the course of a run.
static int Changes(const Point& point) {
  int changes = 0;
  for (size_t i = 1; i < point.stages.size(); ++i) {
    changes += point.stages[i].bed_and_drive != point.stages[i - 1].bed_and_drive ? 1 : 0;
  }
  return changes;
}

/// Memory index of a point; that of the two it is told by holds by definition.
static Place IndexOf(const CurvePoint& point, const std::vector<CurvePoint>& points, const Memory& memory) {
  if (!point.counts()) return {.note = "the point does not count"};
  const CurvePoint& weakest = points[WeakestOf(points)];
  if (point.x == weakest.x) return {.value = 1, .note = "by definition: what the weakest middle stage leaves"};
  if (point.x == memory.reference_x) return {.value = 0, .note = "by definition: the reference"};
  return MemoryIndex(point.trials, weakest.trials, TrialsAt(points, memory.reference_x));
}

static void WriteCurve(const StudyData& data, const CurveOf& curve, const Memory& memory, v1::Answer* answer) {
  const auto points = curve.With(SizeOf);
  PlotWriter plot(answer->mutable_plots(0));
  plot.MarkLevel("reference", curve.at, memory.reference.mean, memory.margin);
  plot.MarkPlace("reset amplitude", curve.at, memory.reset);
  for (size_t i = 0; i < points.size(); ++i) {
    const Place index = IndexOf(points[i], points, memory);
    AddPlace(kIndex, {.at = SettingsOf(data, *curve.points[i]), .trials = points[i].trials.size()}, index, answer);
    WriteRow(*curve.points[i], points[i], memory, index, &plot);
  }
  if (Changes(*curve.points[WeakestOf(points)]) > 1) {
    answer->add_cautions(Sentence(curve.at,
                                  "no bed of the study went without a middle stage: the weakest stands for it in the "
                                  "memory index."));
  }
}

void AnswerMemory(const StudyData& data, const Plan& plan, v1::Answer* answer) {
  std::string summary;
  for (const CurveOf& curve : CurvesAlong(data, *plan.memory_axis)) {
    const auto memory = FindMemory(curve.With(SizeOf), data.options.equal_share());
    if (!memory) continue;
    if (answer->plots().empty()) BeginPlot(data, *plan.memory_axis, answer);
    WriteNumbers(data, *memory, curve, answer);
    WriteCurve(data, curve, *memory, answer);
    if (summary.size() < kLongestSummary) summary += (summary.empty() ? "" : " ") + SummaryOf(data, *memory, curve);
  }
  answer->set_summary(summary);
  if (summary.empty()) answer->set_why_not("it takes two middle amplitudes with two trials each that ran to their end");
}

}  // namespace gyrebox::analysis
