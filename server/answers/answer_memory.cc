// What imprint does a middle stage leave on the last one?
#include <algorithm>
#include <cmath>
#include <optional>

#include "answers/answer_parts.h"
#include "answers/as_prepared.h"
#include "answers/sources.h"
#include "estimators/memory.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kReference = {"reference",
                             "What last plateaus are compared with: that of as-prepared samples, or that after the "
                             "strongest stable middle stage, see the label.",
                             "Geometric mean over its realizations, Student's t interval of logarithms.", kModerated,
                             0.95};
constexpr Kind kReset = {
    "reset_amplitude",
    "Erasure amplitude: smallest middle amplitude from which on the last plateau equals the reference at all stronger "
    "ones tried.",
    "Erased if the 90 % interval of the ratio of last plateau to reference, start by start where they share starts, "
    "lies within 1 plus equal_fraction, up and down; not erased if it lies outside, by Holm's procedure over all "
    "amplitudes; else the realizations cannot tell. Grid bracket from the last amplitude that is not erased to the "
    "first from which on all are.",
    kEquivalence, 0};
constexpr Kind kResolved = {
    "resolved_ratio",
    "Ratio of two last plateaus up to which they cannot be told apart: ratios closer to 1 are not resolved.",
    "Median half-width of the 90 % intervals of logarithms.", kEquivalence, 0};
constexpr Kind kMargin = {"margin", "Largest ratio of two last plateaus, up or down, that counts as equal.",
                          "1 plus equal_fraction.", "definition", 0};
constexpr Kind kNeeded = {
    "trials_needed", "Realizations per amplitude for which equal last plateaus test equal four times in five.",
    "Two one-sided tests at 5 % of pairs, with the median spread of the ratios.", kEquivalence, 0};
constexpr Kind kImprint = {
    "imprint",
    "Imprint of a middle stage: log(last plateau / untouched) / log(last plateau after the strongest stage / "
    "untouched); untouched is the as-prepared sample, or the bed after the weakest middle stage where there is none. 0 "
    "if nothing is left of the middle stage, 1 if as much as of the strongest.",
    "Ratio of two differences of logarithms with the covariances of shared starts, 95 % interval by Fieller's theorem.",
    "E. C. Fieller, J. R. Stat. Soc. B 16, 175 (1954)", 0.95};

/// A larger number of realizations is no advice: the difference is about the margin.
constexpr int kMaxTold = 100;

/// Length in characters after which a summary gets no further curve.
constexpr size_t kLongestSummary = 400;

/// The last plateaus of one curve and what they are compared with.
struct MemoryCurve {
  const StudyData& data;
  const Average& average;
  const CurveOf& along;
  std::vector<CurvePoint> points;
  std::optional<CurvePoint> as_prepared;  ///< at equal age; none if there is none, or it is not the reference
  Memory memory;

  std::string x_unit() const { return data.axes[along.x_axis].unit(); }
  std::string unit() const { return average.observable.unit(); }
  /// "after 64", "of the as-prepared sample".
  std::string reference() const {
    return memory.reference_x ? "after " + Short(*memory.reference_x) + " " + x_unit() : "of as-prepared samples";
  }
  bool counts(size_t i) const { return points[i].counts(); }
  /// Index of the usable point with the smallest or the largest x; at least one is usable.
  size_t Extreme(bool largest) const {
    size_t found = points.size();
    for (size_t i = 0; i < points.size(); ++i) {
      if (!counts(i)) continue;
      if (found == points.size() || (points[i].x > points[found].x) == largest) found = i;
    }
    return found;
  }
};

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

static PlotWriter BeginPlot(const StudyData& data, const Average& average, int axis, v1::Answer* answer) {
  const std::string of = average.label.empty() ? "" : ", " + average.label;
  PlotWriter plot("memory" + average.suffix, "Last plateau against the amplitude of the middle stage" + of, answer);
  AxisColumns(data, axis, &plot);
  using Role = v1::PlotColumn;
  plot.SizeColumns("last_plateau", average.observable.unit(), "Size on the plateau of the last stage.")
      .Column("ratio", "", Role::ROLE_UNSPECIFIED, "Last plateau over reference.", kReset.method, kEquivalence)
      .Column("ratio_low", "", Role::ROLE_UNSPECIFIED, "Lower end of the 90 % interval of that ratio.", "",
              kEquivalence)
      .Column("ratio_high", "", Role::ROLE_UNSPECIFIED, "Upper end of that interval.", "", kEquivalence)
      .Column("imprint", "", Role::ROLE_UNSPECIFIED, kImprint.definition, kImprint.method, kImprint.reference)
      .Column("imprint_low", "", Role::ROLE_UNSPECIFIED, "Lower end of its 95 % interval.")
      .Column("imprint_high", "", Role::ROLE_UNSPECIFIED, "Upper end of its 95 % interval.");
  return plot;
}

static void WriteNumbers(const MemoryCurve& curve, v1::Answer* answer) {
  const Memory& memory = curve.memory;
  const Holder of_curve{.at = curve.along.at, .label = curve.average.label};
  Holder size = of_curve, amplitude = of_curve;
  size.unit = curve.unit();
  size.label += (size.label.empty() ? "" : ", ") + std::string("last plateau ") + curve.reference();
  amplitude.unit = curve.x_unit();
  AddLogMean(kReference, size, memory.reference, memory.reference.HalfWidth(0.95), answer);
  AddEstimate(kReset, amplitude, memory.reset, answer);
  AddEstimate(kResolved, of_curve, {.value = std::exp(memory.resolved)}, answer);
  AddEstimate(kMargin, of_curve, {.value = std::exp(memory.margin)}, answer);
  const double needed = TrialsToResolve(memory.spread, memory.margin);
  AddEstimate(kNeeded, of_curve, {.value = needed}, answer);
  if (curve.average.label.empty() && memory.resolved > memory.margin / 2) {
    answer->add_cautions(Sentence(curve.along.at, "the realizations resolve ratios beyond " +
                                                      Short(std::exp(memory.resolved)) +
                                                      ", too close to the margin of " + Short(std::exp(memory.margin)) +
                                                      ": an erased amplitude may not test as erased. It takes " +
                                                      Short(needed) + " realizations to do so four times in five."));
  }
}

/// " Ratios beyond 1.4 are resolved (90 %)."
static std::string PowerText(const Memory& memory) {
  return " Ratios of two sizes beyond " + schema::NumberText(std::exp(memory.resolved), 3) + " are resolved.";
}

/// The final size after a middle stage, compared with the reference: "smaller than", "larger than", "equal to"; empty
/// if not resolved.
static std::string ComparisonOf(const Trace& trace) {
  if (trace.erased) return "equal to";
  if (std::abs(trace.difference.mean) <= trace.difference.HalfWidth(0.95)) return "";
  return trace.difference.mean < 0 ? "smaller than" : "larger than";
}

/// "14", "14 or 20", "28 to 48": consecutive amplitudes.
static std::string AmplitudesText(const std::vector<Trace>& traces, size_t first, size_t last) {
  const std::string text = Short(traces[first].x);
  return last == first ? text : text + (last == first + 1 ? " or " : " to ") + Short(traces[last].x);
}

/// "after a middle stage of 14 or 20 rad/tau the final size is smaller than that after 64 rad/tau; for 28 to 48, 4
/// realizations cannot tell (about 12 would)".
static std::string ComparisonsText(const MemoryCurve& curve) {
  const auto& traces = curve.memory.traces;
  std::string text;
  for (size_t first = 0, last = 0; first < traces.size(); first = last + 1) {
    const std::string comparison = ComparisonOf(traces[first]);
    for (last = first; last + 1 < traces.size() && ComparisonOf(traces[last + 1]) == comparison;) ++last;
    const std::string amplitudes = AmplitudesText(traces, first, last) + (text.empty() ? " " + curve.x_unit() : "");
    text += text.empty() ? "" : "; ";
    if (comparison.empty()) {
      int needed = 0;
      for (size_t i = first; i <= last; ++i) needed = std::max(needed, traces[i].trials_needed);
      const std::string would =
          needed > kMaxTold ? "over " + std::to_string(kMaxTold) : "about " + std::to_string(needed);
      text += "for " + amplitudes + ", " + std::to_string(curve.memory.reference.count) +
              " realizations cannot tell (" + would + " would)";
    } else {
      text +=
          "after a middle stage of " + amplitudes + " the final size is " + comparison + " that " + curve.reference();
    }
  }
  return text;
}

static std::string SummaryOf(const MemoryCurve& curve) {
  const Memory& memory = curve.memory;
  std::string text;
  if (memory.reset.value) {
    text = "a middle stage of " + Short(*memory.reset.value) + " " + curve.x_unit() +
           " or more erases the imprint: the final size equals that " + curve.reference() + " within a factor of " +
           schema::NumberText(std::exp(memory.margin), 3);
    if (memory.reset.low) text += "; one of " + Short(*memory.reset.low) + " " + curve.x_unit() + " does not";
  } else {
    text = ComparisonsText(curve);
  }
  return Sentence(curve.along.at, text + ".") + PowerText(memory);
}

/// Number of changes of the drive during a run.
static int Changes(const Point& point) {
  int changes = 0;
  for (size_t i = 1; i < point.stages.size(); ++i) {
    changes += point.stages[i].bed_and_drive != point.stages[i - 1].bed_and_drive ? 1 : 0;
  }
  return changes;
}

static IntervalEstimate ImprintOf(const MemoryCurve& curve, size_t i) {
  if (!curve.counts(i)) return {.note = "the point is not usable"};
  const size_t weakest = curve.Extreme(false), strongest = curve.Extreme(true);
  if (i == strongest) return {.value = 1, .note = "by definition: the strongest middle stage"};
  if (!curve.as_prepared && i == weakest) return {.value = 0, .note = "by definition: the weakest middle stage"};
  return Imprint(curve.points[i], curve.as_prepared ? *curve.as_prepared : curve.points[weakest],
                 curve.points[strongest]);
}

static void WriteRow(const MemoryCurve& curve, size_t i, const LogMean& mean, const IntervalEstimate& imprint,
                     PlotWriter* plot) {
  const Point& point = *curve.along.points[i];
  std::vector<double> row = point.axis_values;
  AppendSize(curve.points[i].trials, mean, &row);
  const Trace* trace = TraceAt(curve.memory, curve.points[i].x);
  for (const double side : {0, -1, 1}) {
    row.push_back(trace ? std::exp(trace->difference.mean + side * trace->half_width) : kNone);
  }
  for (const auto& value : {imprint.value, imprint.low, imprint.high}) row.push_back(value.value_or(kNone));
  plot->Row(row, Word(curve.memory, curve.points[i].x, curve.counts(i)), SizeMarkOf(point));
}

static void WriteCurve(const MemoryCurve& curve, const std::vector<LogMean>& means, PlotWriter plot,
                       v1::Answer* answer) {
  plot.MarkLevel("reference", curve.along.at, std::exp(curve.memory.reference.mean), std::exp(curve.memory.margin));
  plot.MarkEstimate("erasure amplitude", curve.along.at, curve.memory.reset);
  for (size_t i = 0; i < curve.points.size(); ++i) {
    const Point& point = *curve.along.points[i];
    const IntervalEstimate imprint = ImprintOf(curve, i);
    AddEstimate(
        kImprint,
        {.at = SettingsOf(curve.data, point), .label = curve.average.label, .trials = curve.points[i].trials.size()},
        imprint, answer);
    WriteRow(curve, i, means[&point - curve.data.points.data()], imprint, &plot);
  }
}

/// As-prepared samples under the last drive of a curve, at the age of its last plateau.
static std::optional<CurvePoint> AsPreparedFor(const CurveOf& along, const AsPrepared& samples,
                                               const Average& average) {
  const Point& point = *along.points.front();
  const AsPreparedSample* sample = samples.Under(point.stages.back().bed_and_drive);
  if (sample == nullptr || std::abs(sample->age - point.stages.back().end) > kSameAge * point.stages.back().end) {
    return std::nullopt;
  }
  return sample->Values(average);
}

static void CautionOf(const MemoryCurve& curve, bool wanted, v1::Answer* answer) {
  if (curve.as_prepared) return;
  if (wanted) {
    answer->add_cautions(
        Sentence(curve.along.at, "there is no as-prepared sample of equal age: sizes are compared with that " +
                                     curve.reference() +
                                     " instead, and an imprint is not separable from ageing. gyrebox control writes a "
                                     "study of such samples; name it as fresh_study."));
  }
  if (Changes(*curve.along.points[curve.Extreme(false)]) > 1) {
    answer->add_cautions(
        Sentence(curve.along.at, "no bed of the study lacks a middle stage: the imprint takes the weakest instead."));
  }
}

void AnswerMemory(const StudyData& data, const Plan& plan, const AsPrepared& samples, v1::Answer* answer) {
  std::string summary;
  const bool wanted = data.options.memory_reference() != v1::AnalysisOptions::MEMORY_REFERENCE_STRONGEST;
  for (const Average& average : AveragesOf(data)) {
    const auto means = LogMeansOf(data, average.number());
    v1::Plot* plot = nullptr;
    for (const CurveOf& along : CurvesAlong(data, *plan.memory_axis)) {
      MemoryCurve curve{data, average, along, along.With(average.number()), std::nullopt, {}};
      if (wanted) curve.as_prepared = AsPreparedFor(along, samples, average);
      const CurvePoint* reference = curve.as_prepared ? &*curve.as_prepared : nullptr;
      auto memory = FindMemory(curve.points, data.options.equal_fraction(), reference);
      if (!memory) continue;
      curve.memory = *std::move(memory);
      if (plot == nullptr) {
        BeginPlot(data, average, *plan.memory_axis, answer);
        plot = answer->mutable_plots(answer->plots_size() - 1);
      }
      WriteNumbers(curve, answer);
      WriteCurve(curve, means, PlotWriter(plot), answer);
      if (!average.label.empty()) continue;
      CautionOf(curve, wanted, answer);
      if (summary.size() < kLongestSummary) summary += (summary.empty() ? "" : " ") + SummaryOf(curve);
    }
  }
  answer->set_summary(summary);
  if (summary.empty()) answer->set_why_not("needs two middle amplitudes with two finished realizations each");
}

}  // namespace gyrebox::analysis
