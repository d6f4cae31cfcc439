/// Writes answers: quantities and plot columns with their definitions.
#pragma once

#include <string>
#include <vector>

#include "estimators/curve.h"
#include "estimators/log_means.h"
#include "estimators/statistics.h"
#include "gyrebox/v1/analysis.pb.h"
#include "schema/mark_text.h"

namespace gyrebox::analysis {

/// Name, definition and method of a kind of quantity.
struct Kind {
  const char* name;
  const char* definition;
  const char* method;
  const char* reference;
  double confidence;  ///< of its interval; 0 for a grid bracket
};

/// What is specific to one quantity of a kind.
struct Holder {
  std::string unit = {};
  std::vector<v1::AxisSetting> at = {};
  std::string label = {};
  size_t trials = 0;
};

/// Adds a quantity without a value.
v1::Quantity* AddQuantity(const Kind& kind, const Holder& holder, v1::Answer* answer);

/// Adds a quantity with the parts that an estimate has. Omits infinities and NaN.
v1::Quantity* AddEstimate(const Kind& kind, const Holder& holder, const IntervalEstimate& estimate, v1::Answer* answer);

/// Adds a value and its interval, value +- half_width; no interval if that is infinite.
v1::Quantity* AddValue(const Kind& kind, const Holder& holder, double value, double half_width, v1::Answer* answer);

/// Adds the number whose logarithm this is, with the interval of half this width in the logarithm; NaN is no value.
v1::Quantity* AddLogMean(const Kind& kind, Holder holder, const LogMean& log, double half_width, v1::Answer* answer);

/// Adds the mean of realizations with its 95 % interval.
v1::Quantity* AddMean(const Kind& kind, Holder holder, std::span<const double> trials, v1::Answer* answer);

/// What a reader must know about a row of a plot.
struct RowMark {
  std::string text;                 ///< in words; empty if nothing
  bool some_runs_excluded = false;  ///< see v1::PlotRow
  bool moves_with_step = false;
};
/// Of a point, from what became of its runs.
RowMark MarkOf(const schema::TrialCounts& counts);

/// Builds a plot column by column, row by row.
class PlotWriter {
 public:
  using Role = v1::PlotColumn;

  PlotWriter(const std::string& name, const std::string& title, v1::Answer* answer);
  /// Continues a plot.
  explicit PlotWriter(v1::Plot* plot) : plot_(plot) {}

  /// Columns come before rows.
  PlotWriter& Column(const std::string& name, const std::string& unit, v1::PlotColumn::Role role,
                     const std::string& definition, const std::string& method = {}, const std::string& reference = {});
  /// Columns of a mean over realizations: the mean, its spread, and both ends of its interval.
  PlotWriter& MeanColumns(const std::string& name, const std::string& unit, const std::string& definition);
  /// Columns of a size over realizations: geometric mean, standard deviation, both ends of the interval of the
  /// geometric mean, and the arithmetic mean.
  PlotWriter& SizeColumns(const std::string& name, const std::string& unit, const std::string& definition);

  void Row(const std::vector<double>& values, const std::string& label, const RowMark& mark);
  /// A vertical line at an estimate, with its band; nothing if the estimate has no value.
  void MarkEstimate(const std::string& label, const std::vector<v1::AxisSetting>& at, const IntervalEstimate& estimate);
  /// A horizontal line with a band from level / factor to level * factor; no band for a factor of 1.
  void MarkLevel(const std::string& label, const std::vector<v1::AxisSetting>& at, double level, double factor);

 private:
  v1::Plot* plot_;
};

/// Appends the four values of MeanColumns() to a row; NaN for too few realizations.
void AppendMean(std::span<const double> trials, std::vector<double>* row);

/// Appends the five values of SizeColumns() to a row. @param mean of the logarithms of these values.
void AppendSize(std::span<const double> trials, const LogMean& mean, std::vector<double>* row);

/// A number for a sentence: four digits.
std::string Short(double value);

}  // namespace gyrebox::analysis
