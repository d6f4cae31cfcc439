// Which shapes occur, and how far apart are the domains?
#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>
#include <string>

#include "answers/answer_parts.h"
#include "answers/sources.h"
#include "estimators/slope.h"

namespace gyrebox::analysis {

constexpr Kind kSpacingExponent = {
    "spacing_exponent",
    "Exponent of the domain spacing against the size: 1/2 if compact domains of a fixed area fraction grow in two "
    "dimensions.",
    "Least-squares line through the mean logarithms of the points, 95 % interval.", kLeastSquares, 0.95};

/// Fractions of the morphology classes, mean over the realizations of a point; all 0 without samples.
static std::array<double, kWords> FractionsOf(const Point& point) {
  std::array<double, kWords> fractions = {};
  double runs = 0;
  for (const RunDigest& run : point.runs) {
    double all = 0;
    for (const double fraction : run.words) all += fraction;
    if (!run.counts() || all == 0) continue;
    ++runs;
    for (size_t k = 0; k < kWords; ++k) fractions[k] += run.words[k];
  }
  for (double& fraction : fractions) fraction /= std::max(1.0, runs);
  return fractions;
}

/// The class of the most samples; empty without samples.
static std::string MajorityOf(const std::array<double, kWords>& fractions) {
  const auto most = std::max_element(fractions.begin(), fractions.end());
  return *most == 0 ? "" : kMorphologyWords[most - fractions.begin()];
}

static void WriteShapes(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("shapes", "Shape of the domains at each point", answer);
  AxisColumns(data, data.axes.empty() ? -1 : 0, &plot);
  for (const char* word : kMorphologyWords) {
    std::string name = "fraction_" + std::string(word);
    std::replace(name.begin(), name.end(), ' ', '_');
    plot.Column(name, "", v1::PlotColumn::ROLE_Y,
                std::string("Fraction of the samples of the last plateaus in class ") + word +
                    ", mean over realizations; see the observable morphology_class.");
  }
  for (const Point& point : data.points) {
    const auto fractions = FractionsOf(point);
    const std::string word = MajorityOf(fractions);
    std::vector<double> row = point.axis_values;
    for (const double fraction : fractions) row.push_back(word.empty() ? kNone : fraction);
    plot.Row(row, word, MarkOf(point.counts()));
  }
}

static void WriteSpacingExponent(const StudyData& data, v1::Answer* answer) {
  const auto of_size = LogMeansOf(data, SizeOf);
  const auto of_spacing = LogMeansOf(data, [](const RunDigest& run) { return run.spacing; });
  std::vector<double> sizes, spacings;
  for (size_t i = 0; i < data.points.size(); ++i) {
    if (of_size[i].count == 0 || of_spacing[i].count == 0) continue;
    sizes.push_back(of_size[i].mean);
    spacings.push_back(of_spacing[i].mean);
  }
  const Slope slope = FitLine(sizes, spacings);
  if (slope.degrees_of_freedom > 0) {
    AddValue(kSpacingExponent, {.trials = sizes.size()}, slope.value, slope.HalfWidth(0.95), answer);
  } else {
    AddEstimate(kSpacingExponent, {}, {.note = "needs three points"}, answer);
  }
}

static void WriteSpacing(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("spacing", "Domain spacing against size", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("trial", "", v1::PlotColumn::ROLE_UNSPECIFIED, "Realization, from 1.")
      .Column("size", data.observable.unit(), v1::PlotColumn::ROLE_X, "Mean over the plateau of the run.")
      .Column(
          "spacing", "sigma", v1::PlotColumn::ROLE_Y,
          "Characteristic wavelength 2 pi/q* at the peak of the structure factor, mean over the plateau of the run.");
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts() || std::isnan(run.spacing)) continue;
      std::vector<double> row = point.axis_values;
      row.insert(row.end(), {static_cast<double>(run.trial), run.size(), run.spacing});
      plot.Row(row, "", {});
    }
  }
  WriteSpacingExponent(data, answer);
}

void AnswerShape(const StudyData& data, v1::Answer* answer) {
  std::map<std::string, size_t> points;
  size_t unstable = 0, unclassified = 0;
  for (const Point& point : data.points) {
    const std::string word = MajorityOf(FractionsOf(point));
    if (!word.empty()) {
      ++points[word];
    } else {
      ++(point.counts().unstable > 0 ? unstable : unclassified);
    }
  }
  std::string summary;
  for (const char* word : kMorphologyWords) {
    if (!points.contains(word)) continue;
    const std::string noun = !summary.empty() ? "" : points[word] == 1 ? " point" : " points";
    summary += (summary.empty() ? "" : ", ") + std::string(word) + " at " + std::to_string(points[word]) + noun;
  }
  if (summary.empty()) return;
  summary[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(summary[0])));
  if (unstable > 0) summary += "; " + std::to_string(unstable) + " unstable";
  if (unclassified > 0) summary += "; " + std::to_string(unclassified) + " without a class";
  WriteShapes(data, answer);
  WriteSpacing(data, answer);
  answer->set_summary(summary + ".");
}

}  // namespace gyrebox::analysis
