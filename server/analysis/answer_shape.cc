// Which shapes are there, and how far apart are the domains?
#include <algorithm>
#include <cmath>

#include "analysis/answer_parts.h"
#include "analysis/slope.h"
#include "analysis/sources.h"
#include "schema/mark_text.h"

namespace gyrebox::analysis {

constexpr Kind kSpacingExponent = {
    "spacing_exponent",
    "Exponent of the domain spacing against the size: 1/2 where compact domains of a fixed share of "
    "the area grow in two dimensions.",
    "Straight line through the logarithms of all trials by least squares, 95 % interval.", kLeastSquares, 0.95};

/// Mean over the trials of a point of the shares of words; all 0 where no word was taken.
static std::array<double, kWords> SharesOf(const Point& point) {
  std::array<double, kWords> shares = {};
  double runs = 0;
  for (const RunDigest& run : point.runs) {
    double all = 0;
    for (const double share : run.words) all += share;
    if (!run.counts() || all == 0) continue;
    ++runs;
    for (size_t k = 0; k < kWords; ++k) shares[k] += run.words[k];
  }
  for (double& share : shares) share /= std::max(1.0, runs);
  return shares;
}

/// The word of the most samples; empty where there is none.
static std::string MajorityOf(const std::array<double, kWords>& shares) {
  const auto most = std::max_element(shares.begin(), shares.end());
  return *most == 0 ? "" : kMorphologyWords[most - shares.begin()];
}

static void WriteShapes(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("shapes", "Shape of the domains at each point", answer);
  AxisColumns(data, data.axes.empty() ? -1 : 0, &plot);
  for (const char* word : kMorphologyWords) {
    std::string name = "share_" + std::string(word);
    std::replace(name.begin(), name.end(), ' ', '_');
    plot.Column(name, "", v1::PlotColumn::ROLE_Y,
                std::string("Share of the samples of the last plateaus with the word ") + word +
                    ", mean over trials; see the observable morphology_class.");
  }
  for (const Point& point : data.points) {
    const auto shares = SharesOf(point);
    const std::string word = MajorityOf(shares);
    std::vector<double> row = point.axis_values;
    for (const double share : shares) row.push_back(word.empty() ? kNone : share);
    plot.Row(row, word, schema::MarkText(point.counts()));
  }
}

static void WriteSpacing(const StudyData& data, v1::Answer* answer) {
  PlotWriter plot("spacing", "Domain spacing against size", answer);
  AxisColumns(data, -1, &plot);
  plot.Column("trial", "", v1::PlotColumn::ROLE_UNSPECIFIED, "Trial, from 1.")
      .Column("size", data.observable.unit(), v1::PlotColumn::ROLE_X, "Mean over the plateau of the run.")
      .Column("spacing", "sigma", v1::PlotColumn::ROLE_Y,
              "Mean over the plateau of the run of 2 pi over the place of the peak of the structure factor.");
  std::vector<double> sizes, spacings;
  for (const Point& point : data.points) {
    for (const RunDigest& run : point.runs) {
      if (!run.counts() || std::isnan(run.spacing)) continue;
      std::vector<double> row = point.axis_values;
      row.insert(row.end(), {static_cast<double>(run.trial), run.size(), run.spacing});
      plot.Row(row, "", "");
      if (run.size() <= 0 || run.spacing <= 0) continue;
      sizes.push_back(std::log(run.size()));
      spacings.push_back(std::log(run.spacing));
    }
  }
  const Slope slope = FitLine(sizes, spacings);
  if (slope.degrees_of_freedom > 0) {
    AddValue(kSpacingExponent, {.trials = sizes.size()}, slope.value, slope.HalfWidth(0.95), answer);
  }
}

void AnswerShape(const StudyData& data, v1::Answer* answer) {
  std::array<size_t, kWords> points = {};
  std::string summary;
  for (size_t k = 0; k < kWords; ++k) {
    for (const Point& point : data.points) points[k] += MajorityOf(SharesOf(point)) == kMorphologyWords[k] ? 1 : 0;
    if (points[k] > 0) {
      summary += (summary.empty() ? "" : ", ") + std::string(kMorphologyWords[k]) + " at " + std::to_string(points[k]);
    }
  }
  if (summary.empty()) return;
  WriteShapes(data, answer);
  WriteSpacing(data, answer);
  answer->set_summary("By the word of most samples: " + summary + " of " + std::to_string(data.points.size()) +
                      " points.");
}

}  // namespace gyrebox::analysis
