// How does polydispersity depend on mean size?
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/slope.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

/// Fewest domains of a bed whose polydispersity is compared.
constexpr double kFewestDomains = 5;

constexpr Kind kLowestPolydispersity = {
    "lowest_polydispersity",
    "Smallest polydispersity of the points with at least 5 domains, where the domains are most uniform; domains: "
    "spinners over weight-average size.",
    "Geometric mean over realizations; Student's t interval of logarithms, at 95 % for all points together, since the "
    "smallest was selected (C. E. Bonferroni).",
    kModerated, 0.95};
constexpr Kind kPolydispersityExponent = {
    "polydispersity_exponent", "Exponent of the polydispersity against the size.",
    "Least-squares line through the logarithms of the geometric means of the points, 95 % interval.", kLeastSquares,
    0.95};

/// Domains of a point: a bed of few domains has no spread of sizes. NaN if unknown.
static double DomainsAt(const Point& point) {
  const auto sizes = Values(point, [](const RunDigest& run) { return run.weight_average; });
  return sizes.empty() || point.spinners == 0 ? kNone : point.spinners / Summarise(sizes).mean;
}

static bool HasFewDomains(const Point& point) { return DomainsAt(point) < kFewestDomains; }

static void WritePolydispersityExponent(const StudyData& data, v1::Answer* answer) {
  std::vector<double> sizes, polydispersities;
  const auto of_size = LogMeansOf(data, SizeOf), of_spread = LogMeansOf(data, PolydispersityOf);
  for (size_t i = 0; i < data.points.size(); ++i) {
    if (of_size[i].count == 0 || of_spread[i].count == 0 || HasFewDomains(data.points[i])) continue;
    sizes.push_back(of_size[i].mean);
    polydispersities.push_back(of_spread[i].mean);
  }
  const Slope slope = FitLine(sizes, polydispersities);
  if (slope.degrees_of_freedom > 0) {
    AddValue(kPolydispersityExponent, {.trials = sizes.size()}, slope.value, slope.HalfWidth(0.95), answer);
  } else {
    AddEstimate(kPolydispersityExponent, {}, {.note = "needs three points with at least 5 domains"}, answer);
  }
}

static void WritePlot(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("polydispersity", "Polydispersity against size", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("size", data.observable.unit(), v1::PlotColumn::ROLE_X,
              "Geometric mean over realizations of the size on the plateau.")
      .MeanColumns("polydispersity", "", kPolydispersityDefinition);
  const auto sizes = LogMeansOf(data, SizeOf);
  for (size_t i = 0; i < data.points.size(); ++i) {
    const Point& point = data.points[i];
    std::vector<double> row = point.axis_values;
    row.push_back(sizes[i].count == 0 ? kNone : std::exp(sizes[i].mean));
    AppendMean(Values(point, PolydispersityOf), &row);
    RowMark mark = MarkOf(point.counts());
    if (HasFewDomains(point)) {
      mark.text += (mark.text.empty() ? "" : ", ") + schema::NumberText(DomainsAt(point), 2) + " domains";
    }
    plot.Row(row, "", mark);
  }
}

void AnswerPolydispersity(const StudyData& data, v1::Answer* answer) {
  std::vector<CurvePoint> points;
  bool any = false;
  for (size_t i = 0; i < data.points.size(); ++i) {
    points.push_back(CurvePointOf(data.points[i], static_cast<double>(i), PolydispersityOf));
    any = any || points.back().counts();
    if (HasFewDomains(data.points[i])) points.back().trials.clear();
  }
  if (!any) return;
  WritePlot(data, answer);
  WritePolydispersityExponent(data, answer);
  const auto lowest = FindSmallest(points);
  if (!lowest || lowest->mean.count == 0) {
    answer->set_summary("No point has 5 domains or more: there is no distribution of sizes to compare.");
    return;
  }
  const Point& best = data.points[static_cast<size_t>(*lowest->estimate.value)];
  AddLogMean(kLowestPolydispersity, {.at = SettingsOf(data, best)}, lowest->mean, lowest->half_width, answer);
  std::string value = schema::NumberText(std::exp(lowest->mean.mean), 2);
  if (lowest->mean.count > 1) {
    value += ", " + schema::NumberText(std::exp(lowest->mean.mean - lowest->half_width), 2) + " to " +
             schema::NumberText(std::exp(lowest->mean.mean + lowest->half_width), 2);
  }
  const std::string at = AtText(SettingsOf(data, best));
  answer->set_summary(at.empty() ? "Polydispersity is " + value + " (CV of cluster size)."
                                 : "Polydispersity is lowest (CV " + value + ") " + at.substr(0, at.rfind(':')) + ".");
}

}  // namespace gyrebox::analysis
