// How does polydispersity depend on mean size?
#include <cmath>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/slope.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr Kind kLowestPolydispersity = {
    "lowest_polydispersity", "Smallest polydispersity of any point, where the domains are most uniform.",
    "Mean over realizations, Student's t interval; the smallest of many means is biased low.", kStudent, 0.95};
constexpr Kind kPolydispersityExponent = {
    "polydispersity_exponent", "Exponent of the polydispersity against the size.",
    "Least-squares line through the logarithms of all realizations, 95 % interval.", kLeastSquares, 0.95};

static void WriteExponent(const StudyData& data, v1::Answer* answer) {
  std::vector<double> sizes, polydispersities;
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts() || !(run.polydispersity > 0) || !(run.size() > 0)) continue;
      sizes.push_back(std::log(run.size()));
      polydispersities.push_back(std::log(run.polydispersity));
    }
  }
  const Slope slope = FitLine(sizes, polydispersities);
  if (slope.degrees_of_freedom > 0) {
    AddValue(kPolydispersityExponent, {.trials = sizes.size()}, slope.value, slope.HalfWidth(0.95), answer);
  }
}

void AnswerPolydispersity(const StudyData& data, v1::Answer* answer) {
  const Point* best = nullptr;
  std::vector<double> best_values;
  for (const Point& point : data.points) {
    const CurvePoint values{
        .x = 0, .trials = Values(point, PolydispersityOf), .unstable_count = point.counts().unstable};
    if (!values.counts()) continue;
    if (best != nullptr && Summarise(values.trials).mean >= Summarise(best_values).mean) continue;
    best = &point;
    best_values = values.trials;
  }
  if (best == nullptr) return;
  AddMean(kLowestPolydispersity, {.at = SettingsOf(data, *best)}, best_values, answer);
  WriteExponent(data, answer);
  PlotWriter plot("polydispersity", "Polydispersity against size", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("size", data.observable.unit(), v1::PlotColumn::ROLE_X,
              "Mean over realizations of the size on the plateau.")
      .MeanColumns("polydispersity", "", kPolydispersityDefinition);
  for (const Point& point : data.points) {
    const auto sizes = Values(point, SizeOf);
    std::vector<double> row = point.axis_values;
    row.push_back(sizes.empty() ? kNone : Summarise(sizes).mean);
    AppendMean(Values(point, PolydispersityOf), &row);
    plot.Row(row, "", MarkOf(point.counts()));
  }
  const Summary lowest = Summarise(best_values);
  std::string value = schema::NumberText(lowest.mean, 2);
  if (lowest.count > 1) value += " ± " + schema::NumberText(lowest.confidence_half_width, 2);
  const std::string at = AtText(SettingsOf(data, *best));
  answer->set_summary(at.empty() ? "Polydispersity is " + value + " (CV of cluster size)."
                                 : "Polydispersity is lowest (CV " + value + ") " + at.substr(0, at.rfind(':')) + ".");
}

}  // namespace gyrebox::analysis
