// Have the runs settled?
#include <algorithm>
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/sources.h"

namespace gyrebox::analysis {

constexpr char kChodera[] = "J. D. Chodera, J. Chem. Theory Comput. 12, 1799 (2016)";
constexpr char kWhite[] = "K. P. White, Simulation 69, 323 (1997)";
constexpr char kBlocks[] = "H. Flyvbjerg and H. G. Petersen, J. Chem. Phys. 91, 461 (1989)";
constexpr char kLags[] =
    "A. Sokal, in Functional Integration, Plenum 1997, p. 131; U. Wolff, Comput. Phys. Commun. 156, 143 (2004)";

constexpr Kind kTransient = {"transient", "Time from the beginning of the last stage until a run has settled.",
                             "Mean over runs of the time from which on most independent samples are left.", kChodera,
                             0.95};
constexpr Kind kCorrelationTime = {"correlation_time",
                                   "Integrated autocorrelation time of the size on the plateau: samples closer than "
                                   "twice this tell little new.",
                                   "Mean over runs; autocorrelations are added up over a window of five such times.",
                                   kLags, 0.95};
constexpr Kind kSettled = {
    "settled_runs",
    "Share of the runs whose transient is over before the plateau begins and whose size does not "
    "drift on it.",
    "Count of runs.", "definition", 0};
constexpr Kind kGrowing = {"growing_runs", "Share of the runs whose size still grows on the plateau.",
                           "Straight line by least squares, its error corrected for correlation; slope over 0 at the 5 "
                           "% level, so that 1 arrested run in 40 is called growing by chance.",
                           kLeastSquares, 0};
constexpr Kind kTooShort = {
    "short_runs",
    "Share of the runs whose plateau lasts under 50 integrated autocorrelation times: the error "
    "of a single run is then little worth, that over trials is not touched.",
    "Count of runs.", "common practice", 0};

static std::string MarkOf(const RunDigest& run) {
  if (run.changed) return "changed while it ran";
  if (!run.counts()) return run.state == v1::Run::STATE_UNSTABLE ? "unstable" : "does not count";
  const Plateau& plateau = run.stages.back();
  std::string mark;
  const auto add = [&](bool is, const char* word) {
    if (is) mark += (mark.empty() ? "" : ", ") + std::string(word);
  };
  add(!plateau.settled(run.last), "transient not over");
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
          p.slope.Chance(),
          run.phase.swing};
}

static void WriteRuns(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("plateaus", "Plateau of every run", answer);
  const std::string& unit = data.observable.unit();
  AxisColumns(data, data.axes.empty() ? -1 : 0, &plot);
  using Role = v1::PlotColumn;
  plot.Column("trial", "", Role::ROLE_UNSPECIFIED, "Trial, from 1.")
      .Column("size", unit, Role::ROLE_Y, "Mean over the plateau, in whole periods of the drive.")
      .Column("size_low", unit, Role::ROLE_LOW, "Lower end of the 95 % interval of this run's mean.", "Block averages.",
              kBlocks)
      .Column("size_high", unit, Role::ROLE_HIGH, "Upper end of that interval.", "Block averages.", kBlocks)
      .Column("standard_error", unit, Role::ROLE_UNSPECIFIED, "Standard error of the mean, corrected for correlation.",
              "Block averages.", kBlocks)
      .Column("correlation_time", "tau", Role::ROLE_UNSPECIFIED, kCorrelationTime.definition, "", kLags)
      .Column("correlation_times", "", Role::ROLE_UNSPECIFIED, "Length of the plateau in correlation times.")
      .Column("transient", "tau", Role::ROLE_UNSPECIFIED, kTransient.definition, "Most independent samples left.",
              kChodera)
      .Column("transient_by_error", "tau", Role::ROLE_UNSPECIFIED, kTransient.definition, "Least marginal error.",
              kWhite)
      .Column("slope", unit.empty() ? "1/tau" : unit + "/tau", Role::ROLE_UNSPECIFIED,
              "Slope of the size on the plateau.", kGrowing.method, kGrowing.reference)
      .Column("slope_half_width", unit.empty() ? "1/tau" : unit + "/tau", Role::ROLE_UNSPECIFIED,
              "Half width of the 95 % interval of the slope.")
      .Column("slope_chance", "", Role::ROLE_UNSPECIFIED, "Chance of a slope at least this steep where there is none.")
      .Column("swing", unit, Role::ROLE_UNSPECIFIED,
              "Largest less smallest of the means at eight phases of the drive's period.");
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      std::vector<double> row = point.axis_values;
      row.push_back(run.trial);
      const auto cells = CellsOf(run);
      row.insert(row.end(), cells.begin(), cells.end());
      plot.Row(row, data.study.name() + "/runs/" + std::to_string(run.number), MarkOf(run));
    }
  }
}

/// Mean over the trials of each point of the profile over a period, less the mean of the period.
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
                   "Size at this phase on the plateau, less that of the period.");
  for (const Point& point : data.points) {
    for (size_t k = 0; k < phases; ++k) {
      const auto values = Values(point, [&](const RunDigest& run) {
        return k < run.phase.means.size() ? run.phase.means[k] - run.size() : kNone;
      });
      if (values.empty()) continue;
      std::vector<double> row = point.axis_values;
      row.push_back(static_cast<double>(k) / static_cast<double>(phases));
      AppendMean(values, &row);
      plot.Row(row, "", "");
    }
  }
}

void AnswerPlateaus(const StudyData& data, v1::Answer* answer) {
  std::vector<double> transients, times;
  size_t settled = 0, growing = 0, too_short = 0;
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts()) continue;
      const Plateau& plateau = run.stages.back();
      transients.push_back(plateau.transient);
      times.push_back(plateau.correlation_time);
      settled += plateau.settled(run.last) && !plateau.drifts() ? 1 : 0;
      growing += plateau.grows() ? 1 : 0;
      too_short += plateau.too_short() ? 1 : 0;
    }
  }
  if (times.empty()) return;
  AddMean(kTransient, {.unit = "tau"}, transients, answer);
  AddMean(kCorrelationTime, {.unit = "tau"}, times, answer);
  const size_t all = times.size();
  const auto share = [&](const Kind& kind, size_t count) {
    AddPlace(kind, {.trials = all}, {.value = static_cast<double>(count) / static_cast<double>(all)}, answer);
  };
  share(kSettled, settled);
  share(kGrowing, growing);
  share(kTooShort, too_short);
  const auto of_all = [&](size_t count) { return std::to_string(count) + " of " + std::to_string(all); };
  answer->set_summary(of_all(settled) + " runs have settled; the size still grows in " + of_all(growing) + ".");
  if (growing * 10 > all) {
    answer->add_cautions("In " + of_all(growing) +
                         " runs the size still grows on the plateau: what is called a size there "
                         "is one on its way. Longer runs would tell whether it is arrested.");
  }
  if (too_short > 0) {
    answer->add_cautions("In " + of_all(too_short) +
                         " runs the plateau lasts under 50 correlation times: errors of single "
                         "runs are rough there. Means over trials do not rest on them.");
  }
  WriteRuns(data, answer);
  WritePhases(data, answer);
}

}  // namespace gyrebox::analysis
