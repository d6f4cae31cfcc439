// How alike are the domains, against their mean size?
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/slope.h"
#include "analysis/sources.h"
#include "schema/mark_text.h"

namespace gyrebox::analysis {

constexpr Kind kMostUniform = {
    "most_uniform", "Smallest uniformity of any point, that is where the domains are most alike.",
    "Mean over trials, Student's t interval; the smallest of many means is a little too small.", kStudent, 0.95};
constexpr Kind kUniformityExponent = {
    "uniformity_exponent", "Exponent of the uniformity against the size.",
    "Straight line through the logarithms of all trials by least squares, 95 % interval.", kLeastSquares, 0.95};

static void WriteExponent(const StudyData& data, v1::Answer* answer) {
  std::vector<double> sizes, uniformities;
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts() || !(run.uniformity > 0) || !(run.size() > 0)) continue;
      sizes.push_back(std::log(run.size()));
      uniformities.push_back(std::log(run.uniformity));
    }
  }
  const Slope slope = FitLine(sizes, uniformities);
  if (slope.degrees_of_freedom > 0) {
    AddValue(kUniformityExponent, {.trials = sizes.size()}, slope.value, slope.HalfWidth(0.95), answer);
  }
}

void AnswerUniformity(const StudyData& data, v1::Answer* answer) {
  const Point* best = nullptr;
  std::vector<double> best_values;
  for (const Point& point : data.points) {
    const CurvePoint values{.x = 0, .trials = Values(point, UniformityOf), .unstable_count = point.counts().unstable};
    if (!values.counts()) continue;
    if (best != nullptr && Summarise(values.trials).mean >= Summarise(best_values).mean) continue;
    best = &point;
    best_values = values.trials;
  }
  if (best == nullptr) return;
  AddMean(kMostUniform, {.at = SettingsOf(data, *best)}, best_values, answer);
  WriteExponent(data, answer);
  PlotWriter plot("uniformity", "Uniformity against size", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("size", data.observable.unit(), v1::PlotColumn::ROLE_X, "Mean over trials of the size on the plateau.")
      .MeanColumns("uniformity", "", kUniformityDefinition);
  for (const Point& point : data.points) {
    const auto sizes = Values(point, SizeOf);
    std::vector<double> row = point.axis_values;
    row.push_back(sizes.empty() ? kNone : Summarise(sizes).mean);
    AppendMean(Values(point, UniformityOf), &row);
    plot.Row(row, "", schema::MarkText(point.counts()));
  }
  const std::string share = Short(100 * Summarise(best_values).mean) + " % of their mean";
  answer->set_summary(data.axes.empty() ? "The sizes of the domains of a run differ by " + share + "."
                                        : "The domains are most alike " + AtText(SettingsOf(data, *best)) +
                                              "their sizes differ by " + share + ".");
}

}  // namespace gyrebox::analysis
