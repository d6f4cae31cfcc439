// Are the runs stationary?
#include <algorithm>
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"

namespace gyrebox::analysis {

constexpr char kChodera[] = "J. D. Chodera, J. Chem. Theory Comput. 12, 1799 (2016)";
constexpr char kWhite[] = "K. P. White, Simulation 69, 323 (1997)";
constexpr char kBlocks[] = "H. Flyvbjerg and H. G. Petersen, J. Chem. Phys. 91, 461 (1989)";
constexpr char kLags[] =
    "A. Sokal, in Functional Integration, Plenum 1997, p. 131; U. Wolff, Comput. Phys. Commun. 156, 143 (2004)";

constexpr Kind kTransient = {"transient", "Time from the start of the last stage until a run is stationary.",
                             "Mean over runs of the time that leaves the most independent samples.", kChodera, 0.95};
constexpr Kind kCorrelationTime = {"correlation_time",
                                   "Integrated autocorrelation time of the size on the plateau: samples closer than "
                                   "twice this are correlated.",
                                   "Mean over runs; the autocorrelation is summed over a window of five such times.",
                                   kLags, 0.95};
constexpr Kind kStationary = {
    "stationary_runs",
    "Fraction of the runs whose transient ends before the plateau begins and whose size does not drift on it.",
    "Count of runs.", "definition", 0};
constexpr Kind kGrowing = {
    "growing_runs", "Fraction of the runs whose size still grows on the plateau.",
    "Least-squares line, its error corrected for correlation; slope above 0 at the two-sided 5 % "
    "level, so that 1 arrested run in 40 counts as growing by chance.",
    kLeastSquares, 0};
constexpr Kind kTooShort = {
    "short_runs",
    "Fraction of the runs whose plateau lasts under 50 integrated autocorrelation times: the error of a single run is "
    "then unreliable, that over realizations is unaffected.",
    "Count of runs.", "common practice", 0};

constexpr Kind kUndecided = {
    "undecided_runs",
    "Fraction of the runs that are too short to tell: their plateau lasts under 3 periods of the drive, or there are "
    "too few independent samples to fit a line.",
    "Count of runs.", "definition", 0};

/// Fraction by which runs of the same length may differ.
constexpr double kSameLength = 1e-6;

static std::string MarkTextOf(const RunDigest& run) {
  if (run.changed) return "adjusted while it ran";
  if (!run.counts()) return run.state == v1::Run::STATE_UNSTABLE ? "unstable" : "does not count";
  const Plateau& plateau = run.stages.back();
  std::string mark;
  const auto add = [&](bool is, const char* word) {
    if (is) mark += (mark.empty() ? "" : ", ") + std::string(word);
  };
  add(!plateau.tells, "too short to tell");
  add(plateau.tells && !plateau.stationary(run.last), "transient not over");
  add(plateau.grows(), "still growing");
  add(plateau.drifts() && !plateau.grows(), "still shrinking");
  add(plateau.too_short(), "short");
  return mark;
}

static std::vector<double> CellsOf(const RunDigest& run) {
  if (!run.counts()) return std::vector<double>(12, kNone);
  const Plateau& p = run.stages.back();
  const double finite_half = std::isfinite(p.half_width) ? p.half_width : kNone;
  return {p.mean,
          p.mean - finite_half,
          p.mean + finite_half,
          p.standard_error,
          p.correlation_time,
          p.correlation_times,
          p.transient,
          p.transient_by_error,
          p.slope.value,
          p.slope.HalfWidth(0.95),
          p.slope.PValue(),
          run.phase.swing};
}

static void WriteRuns(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("plateaus", "Plateau of every run", answer);
  const std::string& unit = data.observable.unit();
  AxisColumns(data, data.axes.empty() ? -1 : 0, &plot);
  using Role = v1::PlotColumn;
  plot.Column("trial", "", Role::ROLE_UNSPECIFIED, "Realization, from 1.")
      .Column("size", unit, Role::ROLE_Y, "Mean over the plateau, in whole periods of the drive.")
      .Column("size_low", unit, Role::ROLE_LOW, "Lower end of the 95 % interval of this run's mean.", "Block averages.",
              kBlocks)
      .Column("size_high", unit, Role::ROLE_HIGH, "Upper end of that interval.", "Block averages.", kBlocks)
      .Column("standard_error", unit, Role::ROLE_UNSPECIFIED, "Standard error of the mean, corrected for correlation.",
              "Block averages.", kBlocks)
      .Column("correlation_time", "tau", Role::ROLE_UNSPECIFIED, kCorrelationTime.definition, "", kLags)
      .Column("correlation_times", "", Role::ROLE_UNSPECIFIED, "Length of the plateau in correlation times.")
      .Column("transient", "tau", Role::ROLE_UNSPECIFIED, kTransient.definition, "Most independent samples.", kChodera)
      .Column("transient_by_error", "tau", Role::ROLE_UNSPECIFIED, kTransient.definition, "Least marginal error.",
              kWhite)
      .Column("slope", unit.empty() ? "1/tau" : unit + "/tau", Role::ROLE_UNSPECIFIED,
              "Slope of the size on the plateau.", kGrowing.method, kGrowing.reference)
      .Column("slope_half_width", unit.empty() ? "1/tau" : unit + "/tau", Role::ROLE_UNSPECIFIED,
              "Half-width of the 95 % interval of the slope.")
      .Column("slope_p_value", "", Role::ROLE_UNSPECIFIED, "Two-sided p-value of the slope if there is none.")
      .Column("swing", unit, Role::ROLE_UNSPECIFIED,
              "Peak-to-peak amplitude: largest minus smallest of the means at eight phases of the drive's period.");
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      std::vector<double> row = point.axis_values;
      row.push_back(run.trial);
      const auto cells = CellsOf(run);
      row.insert(row.end(), cells.begin(), cells.end());
      plot.Row(row, data.study.name() + "/runs/" + std::to_string(run.number),
               {.text = MarkTextOf(run), .some_runs_excluded = !run.changed && !run.counts()});
    }
  }
}

/// Profile over a period minus the mean of the period; mean over the realizations of each point.
static void WritePhases(const StudyData& data, v1::Answer* answer) {
  size_t phases = 0;
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) phases = std::max(phases, run.phase.means.size());
  }
  if (phases == 0) return;
  PlotWriter plot("phases", "Size within a period of the drive", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("phase", "turns", v1::PlotColumn::ROLE_X, "Phase of the drive: frequency times time.")
      .MeanColumns("size_less_mean", data.observable.unit(),
                   "Size at this phase on the plateau, minus that of the period.");
  for (const Point& point : data.points) {
    for (size_t k = 0; k < phases; ++k) {
      const auto values = Values(point, [&](const RunDigest& run) {
        return k < run.phase.means.size() ? run.phase.means[k] - run.size() : kNone;
      });
      if (values.empty()) continue;
      std::vector<double> row = point.axis_values;
      row.push_back(static_cast<double>(k) / static_cast<double>(phases));
      AppendMean(values, &row);
      plot.Row(row, "", {});
    }
  }
}

/// Warns of points whose runs ended at different times.
static void WarnOfLengths(const StudyData& data, v1::Answer* answer) {
  for (const Point& point : data.points) {
    double first = INFINITY, last = 0;
    for (const RunDigest& run : point.runs) {
      if (!run.counts()) continue;
      first = std::min(first, run.last.end);
      last = std::max(last, run.last.end);
    }
    if (!(last - first > kSameLength * last)) continue;
    answer->add_cautions(Sentence(SettingsOf(data, point), "the runs have different lengths, " + Short(first) + " to " +
                                                               Short(last) +
                                                               " tau: their mean is over sizes of "
                                                               "different age. Extend the shorter ones."));
  }
}

void AnswerPlateaus(const StudyData& data, v1::Answer* answer) {
  std::vector<double> transients, times;
  size_t stationary = 0, growing = 0, too_short = 0, undecided = 0;
  double first_end = INFINITY, last_end = 0;  // of growing runs
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts()) continue;
      const Plateau& plateau = run.stages.back();
      transients.push_back(plateau.transient);
      times.push_back(plateau.correlation_time);
      stationary += plateau.stationary(run.last) && !plateau.drifts() ? 1 : 0;
      if (plateau.grows()) {
        ++growing;
        first_end = std::min(first_end, run.last.end);
        last_end = std::max(last_end, run.last.end);
      }
      too_short += plateau.too_short() ? 1 : 0;
      undecided += plateau.tells ? 0 : 1;
    }
  }
  if (times.empty()) return;
  AddMean(kTransient, {.unit = "tau"}, transients, answer);
  AddMean(kCorrelationTime, {.unit = "tau"}, times, answer);
  const size_t all = times.size();
  const auto fraction = [&](const Kind& kind, size_t count) {
    AddEstimate(kind, {.trials = all}, {.value = static_cast<double>(count) / static_cast<double>(all)}, answer);
  };
  fraction(kStationary, stationary);
  fraction(kGrowing, growing);
  fraction(kTooShort, too_short);
  fraction(kUndecided, undecided);
  const auto of_all = [&](size_t count) { return std::to_string(count) + " of " + std::to_string(all); };
  answer->set_summary(of_all(stationary) + " runs are stationary; the size still grows in " + of_all(growing) +
                      (undecided > 0 ? "; " + of_all(undecided) + " are too short to tell." : "."));
  if (undecided > 0) {
    answer->add_cautions(of_all(undecided) +
                         " runs are too short to tell whether they are stationary: a plateau needs at least 3 periods "
                         "of the drive. Extend them, or measure over more of each run (measure.plateau_fraction).");
  }
  if (growing * 10 > all) {
    const std::string ends = Short(first_end) + (first_end == last_end ? "" : " to " + Short(last_end));
    answer->add_cautions("Not stationary: size at " + ends + " tau, still growing in " + of_all(growing) +
                         " runs. Longer runs would show whether it arrests.");
  }
  if (too_short > 0) {
    answer->add_cautions(
        "In " + of_all(too_short) +
        " runs the plateau lasts under 50 correlation times: errors of single runs are unreliable there. "
        "Means over realizations do not depend on them.");
  }
  WarnOfLengths(data, answer);
  WriteRuns(data, answer);
  WritePhases(data, answer);
}

}  // namespace gyrebox::analysis
