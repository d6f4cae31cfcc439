#include "report/spectra.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace gyrebox::client {

/// Width of a bin of the pair correlation in sigma, as its definition says.
constexpr double kDistanceBin = 0.02;
/// Max points of a plot of means.
constexpr size_t kMaxPoints = 50;
constexpr double kNoValue = std::numeric_limits<double>::quiet_NaN();

const std::vector<Spectrum>& Spectra() {
  static const std::vector<Spectrum> all = {
      {"structure_factor",
       "Structure factor S(k) of the spinners",
       "k",
       "1/sigma",
       "Wave number at the centre of the shell: 2 pi j / L for shell j, L the longer side of the bed.",
       {"spinner_structure_factor"}},
      {"pair_correlation",
       "Pair correlation g(r)",
       "r",
       "sigma",
       "Distance at the centre of the bin.",
       {"spinner_spinner_correlation", "spinner_passive_correlation", "passive_passive_correlation"}},
      {"cluster_sizes",
       "Number of spinner clusters by size",
       "size_from",
       "beads",
       "Smallest size of the class; the class ends before twice that, the last is open.",
       {"spinner_size_histogram"},
       /*steps=*/true}};
  return all;
}

double PositionOf(const Spectrum& spectrum, int index, double longer_side) {
  if (spectrum.steps) return std::exp2(index);
  if (std::string(spectrum.x) == "k") return 2 * std::numbers::pi * (index + 1) / longer_side;
  return (index + 0.5) * kDistanceBin;
}

std::vector<double> MeanFrom(const v1::ListSamplesResponse& series, const std::string& observable, double from) {
  int offset = 0, width = 0;
  for (const v1::Observable& one : series.observables()) {
    if (one.name() == observable) {
      width = one.width();
      break;
    }
    offset += one.width();
  }
  std::vector<double> sums(width, 0), counts(width, 0);
  for (const v1::Sample& sample : series.samples()) {
    if (sample.time() < from) continue;
    for (int i = 0; i < width; ++i) {
      const double value = offset + i < sample.values_size() ? sample.values(offset + i) : kNoValue;
      if (!std::isfinite(value)) continue;
      sums[i] += value;
      counts[i] += 1;
    }
  }
  for (int i = 0; i < width; ++i) sums[i] = counts[i] > 0 ? sums[i] / counts[i] : kNoValue;
  return sums;
}

void SpectrumMeans::Add(const std::string& plot, const std::vector<double>& axis_values, const std::vector<double>& x,
                        const std::vector<std::vector<double>>& columns) {
  auto& points = plots_[plot];
  auto point = std::find_if(points.begin(), points.end(), [&](const auto& one) { return one.first == axis_values; });
  if (point == points.end()) {
    if (points.size() >= kMaxPoints) return;
    points.push_back({axis_values, {x, std::vector<Sums>(columns.size())}});
    point = points.end() - 1;
  }
  for (size_t c = 0; c < columns.size(); ++c) {
    Sums& sums = point->second.columns[c];
    for (auto* one : {&sums.count, &sums.sum, &sums.squares}) one->resize(x.size(), 0);
    for (size_t i = 0; i < std::min(columns[c].size(), sums.sum.size()); ++i) {
      if (!std::isfinite(columns[c][i])) continue;
      sums.count[i] += 1;
      sums.sum[i] += columns[c][i];
      sums.squares[i] += columns[c][i] * columns[c][i];
    }
  }
}

v1::Plot SpectrumMeans::PlotOf(const v1::Answers& answers, const std::string& name, const std::string& title,
                               const v1::PlotColumn& x, const std::vector<v1::PlotColumn>& columns) const {
  v1::Plot plot;
  const auto found = plots_.find(name);
  if (found == plots_.end()) return plot;
  plot.set_name(name);
  plot.set_title(title);
  const auto add = [&](const std::string& of, const std::string& unit, auto role, const std::string& definition) {
    v1::PlotColumn& column = *plot.add_columns();
    column.set_name(of);
    column.set_unit(unit);
    column.set_role(role);
    column.set_definition(definition);
  };
  for (const auto& axis : answers.axes()) {
    add(axis.field(), axis.unit(), v1::PlotColumn::ROLE_CURVE, "Value of this field of the study.");
  }
  *plot.add_columns() = x;
  for (const v1::PlotColumn& column : columns) {
    *plot.add_columns() = column;
    add(column.name() + "_low", column.unit(), v1::PlotColumn::ROLE_LOW,
        "Mean minus one standard error over realizations.");
    add(column.name() + "_high", column.unit(), v1::PlotColumn::ROLE_HIGH,
        "Mean plus one standard error over realizations.");
  }
  for (const auto& [axis_values, point] : found->second) {
    for (size_t i = 0; i < point.x.size(); ++i) {
      std::vector<double> values = axis_values;
      values.push_back(point.x[i]);
      bool any = false;
      for (const Sums& sums : point.columns) {
        const double n = sums.count[i], mean = n > 0 ? sums.sum[i] / n : kNoValue;
        const double variance = n > 1 ? std::max(0.0, (sums.squares[i] - n * mean * mean) / (n - 1)) : kNoValue;
        const double error = std::sqrt(variance / n);
        values.insert(values.end(), {mean, mean - error, mean + error});
        any = any || n > 0;
      }
      if (any) plot.add_rows()->mutable_values()->Assign(values.begin(), values.end());
    }
  }
  return plot;
}

}  // namespace gyrebox::client
