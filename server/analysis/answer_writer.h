/// Writes answers: quantities that say what they are, and plots whose columns do.
#pragma once

#include <string>
#include <vector>

#include "analysis/curve.h"
#include "analysis/statistics.h"
#include "gyrebox/v1/analysis.pb.h"

namespace gyrebox::analysis {

/// What is said of a kind of quantity, in one place.
struct Kind {
  const char* name;
  const char* definition;
  const char* method;
  const char* reference;
  double confidence;  ///< of its interval; 0 where that is no matter of chance
};

/// What holds for one quantity of a kind.
struct Holder {
  std::string unit = {};
  std::vector<v1::AxisSetting> at = {};
  std::string label = {};
  size_t trials = 0;
};

/// Adds a quantity without a value.
v1::Quantity* AddQuantity(const Kind& kind, const Holder& holder, v1::Answer* answer);

/// Adds a quantity with what there is of a place. Infinities and NaN are left out.
v1::Quantity* AddPlace(const Kind& kind, const Holder& holder, const Place& place, v1::Answer* answer);

/// Adds a value and its interval, value +- half_width; none where that is infinite.
v1::Quantity* AddValue(const Kind& kind, const Holder& holder, double value, double half_width, v1::Answer* answer);

/// Adds the mean of trials with its 95 % interval.
v1::Quantity* AddMean(const Kind& kind, Holder holder, std::span<const double> trials, v1::Answer* answer);

/// Builds a plot column by column, row by row.
class PlotWriter {
 public:
  using Role = v1::PlotColumn;

  PlotWriter(const std::string& name, const std::string& title, v1::Answer* answer);
  /// Goes on with a plot.
  explicit PlotWriter(v1::Plot* plot) : plot_(plot) {}

  /// Columns come before rows.
  PlotWriter& Column(const std::string& name, const std::string& unit, v1::PlotColumn::Role role,
                     const std::string& definition, const std::string& method = {}, const std::string& reference = {});
  /// Columns of a mean over trials: the mean, its spread, and both ends of its interval.
  PlotWriter& MeanColumns(const std::string& name, const std::string& unit, const std::string& definition);

  void Row(const std::vector<double>& values, const std::string& label, const std::string& mark);
  /// A vertical line at a place, with its band; nothing where the place has no value.
  void MarkPlace(const std::string& label, const std::vector<v1::AxisSetting>& at, const Place& place);
  /// A horizontal line with a band of this half width; without one where it is not finite or 0.
  void MarkLevel(const std::string& label, const std::vector<v1::AxisSetting>& at, double level, double half_width);

 private:
  v1::Plot* plot_;
};

/// Appends the four values of MeanColumns() to a row; NaN where trials are too few.
void AppendMean(std::span<const double> trials, std::vector<double>* row);

/// A number for a sentence: four digits.
std::string Short(double value);

}  // namespace gyrebox::analysis
