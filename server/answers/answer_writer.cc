#include "answers/answer_writer.h"

#include <cmath>
#include <limits>

#include "answers/sources.h"
#include "schema/number_text.h"

namespace gyrebox::analysis {

constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

v1::Quantity* AddQuantity(const Kind& kind, const Holder& holder, v1::Answer* answer) {
  v1::Quantity* quantity = answer->add_quantities();
  quantity->set_name(kind.name);
  quantity->set_unit(holder.unit);
  quantity->mutable_at()->Assign(holder.at.begin(), holder.at.end());
  quantity->set_label(holder.label);
  quantity->set_confidence(kind.confidence);
  quantity->set_trial_count(static_cast<int32_t>(holder.trials));
  quantity->set_definition(kind.definition);
  quantity->set_method(kind.method);
  quantity->set_reference(kind.reference);
  return quantity;
}

static bool Has(const std::optional<double>& value) { return value && std::isfinite(*value); }

v1::Quantity* AddEstimate(const Kind& kind, const Holder& holder, const IntervalEstimate& estimate,
                          v1::Answer* answer) {
  v1::Quantity* quantity = AddQuantity(kind, holder, answer);
  if (Has(estimate.value)) quantity->set_value(*estimate.value);
  if (Has(estimate.low)) quantity->set_low(*estimate.low);
  if (Has(estimate.high)) quantity->set_high(*estimate.high);
  quantity->set_note(estimate.note);
  return quantity;
}

v1::Quantity* AddValue(const Kind& kind, const Holder& holder, double value, double half_width, v1::Answer* answer) {
  return AddEstimate(kind, holder, {.value = value, .low = value - half_width, .high = value + half_width}, answer);
}

v1::Quantity* AddLogMean(const Kind& kind, Holder holder, const LogMean& log, double half_width, v1::Answer* answer) {
  holder.trials = log.count;
  if (log.count == 0) return AddEstimate(kind, holder, {.note = "no run has a value"}, answer);
  IntervalEstimate estimate{.value = std::exp(log.mean)};
  if (log.count < 2) {
    estimate.note = "no interval: needs two realizations";
  } else {
    estimate.low = std::exp(log.mean - half_width);
    estimate.high = std::exp(log.mean + half_width);
  }
  return AddEstimate(kind, holder, estimate, answer);
}

v1::Quantity* AddMean(const Kind& kind, Holder holder, std::span<const double> trials, v1::Answer* answer) {
  const Summary summary = Summarise(trials);
  holder.trials = summary.count;
  if (summary.count >= 2) return AddValue(kind, holder, summary.mean, summary.confidence_half_width, answer);
  IntervalEstimate estimate{.note = summary.count == 0 ? "no run has a value" : "no interval: needs two realizations"};
  if (summary.count == 1) estimate.value = summary.mean;
  return AddEstimate(kind, holder, estimate, answer);
}

PlotWriter::PlotWriter(const std::string& name, const std::string& title, v1::Answer* answer)
    : plot_(answer->add_plots()) {
  plot_->set_name(name);
  plot_->set_title(title);
}

PlotWriter& PlotWriter::Column(const std::string& name, const std::string& unit, v1::PlotColumn::Role role,
                               const std::string& definition, const std::string& method, const std::string& reference) {
  v1::PlotColumn& column = *plot_->add_columns();
  column.set_name(name);
  column.set_unit(unit);
  column.set_role(role);
  column.set_definition(definition);
  column.set_method(method);
  column.set_reference(reference);
  return *this;
}

PlotWriter& PlotWriter::MeanColumns(const std::string& name, const std::string& unit, const std::string& definition) {
  const std::string kInterval =
      "Mean over realizations and Student's t interval of 95 %: the realization is the independent sample.";
  const std::string kSource = kStudent;
  Column(name, unit, Role::ROLE_Y, "Mean over realizations. " + definition, kInterval, kSource);
  Column(name + "_standard_deviation", unit, Role::ROLE_SPREAD, "Standard deviation over realizations.");
  Column(name + "_low", unit, Role::ROLE_LOW, "Lower end of the 95 % interval of the mean.", kInterval, kSource);
  return Column(name + "_high", unit, Role::ROLE_HIGH, "Upper end of the 95 % interval of the mean.", kInterval,
                kSource);
}

PlotWriter& PlotWriter::SizeColumns(const std::string& name, const std::string& unit, const std::string& definition) {
  const std::string kInterval =
      "Student's t interval of 95 % of the mean of logarithms over realizations, with variances moderated by those of "
      "the other points.";
  Column(name, unit, Role::ROLE_Y, "Geometric mean over realizations. " + definition, kInterval, kModerated);
  Column(name + "_standard_deviation", unit, Role::ROLE_SPREAD, "Standard deviation over realizations.");
  Column(name + "_low", unit, Role::ROLE_LOW, "Lower end of the 95 % interval of the geometric mean.", kInterval,
         kModerated);
  Column(name + "_high", unit, Role::ROLE_HIGH, "Upper end of the 95 % interval of the geometric mean.", kInterval,
         kModerated);
  return Column(name + "_mean", unit, Role::ROLE_UNSPECIFIED, "Arithmetic mean over realizations.");
}

RowMark MarkOf(const schema::TrialCounts& counts) {
  return {.text = schema::MarkText(counts),
          .some_runs_excluded = counts.unstable + counts.failed + counts.cancelled > 0,
          .moves_with_step = counts.moves_with_step};
}

void PlotWriter::Row(const std::vector<double>& values, const std::string& label, const RowMark& mark) {
  v1::PlotRow& row = *plot_->add_rows();
  row.mutable_values()->Assign(values.begin(), values.end());
  row.set_label(label);
  row.set_mark(mark.text);
  row.set_some_runs_excluded(mark.some_runs_excluded);
  row.set_moves_with_step(mark.moves_with_step);
}

static v1::PlotMark* AddMark(const std::string& label, const std::vector<v1::AxisSetting>& at, double value,
                             v1::Plot* plot) {
  v1::PlotMark* mark = plot->add_marks();
  mark->set_label(label);
  mark->mutable_at()->Assign(at.begin(), at.end());
  mark->set_value(value);
  return mark;
}

void PlotWriter::MarkEstimate(const std::string& label, const std::vector<v1::AxisSetting>& at,
                              const IntervalEstimate& estimate) {
  if (!Has(estimate.value)) return;
  v1::PlotMark* mark = AddMark(label, at, *estimate.value, plot_);
  mark->set_vertical(true);
  if (Has(estimate.low)) mark->set_low(*estimate.low);
  if (Has(estimate.high)) mark->set_high(*estimate.high);
}

void PlotWriter::MarkLevel(const std::string& label, const std::vector<v1::AxisSetting>& at, double level,
                           double factor) {
  v1::PlotMark* mark = AddMark(label, at, level, plot_);
  if (factor == 1) return;
  mark->set_low(level / factor);
  mark->set_high(level * factor);
}

void AppendMean(std::span<const double> trials, std::vector<double>* row) {
  const Summary summary = Summarise(trials);
  const double mean = summary.count > 0 ? summary.mean : kNaN;
  const double spread = summary.count > 1 ? summary.standard_deviation : kNaN;
  const double half = summary.count > 1 ? summary.confidence_half_width : kNaN;
  row->insert(row->end(), {mean, spread, mean - half, mean + half});
}

void AppendSize(std::span<const double> trials, const LogMean& mean, std::vector<double>* row) {
  const Summary summary = Summarise(trials);
  const double half = mean.HalfWidth(0.95);
  const bool spread = summary.count > 1;
  row->insert(row->end(), {mean.count > 0 ? std::exp(mean.mean) : kNaN, spread ? summary.standard_deviation : kNaN,
                           spread ? std::exp(mean.mean - half) : kNaN, spread ? std::exp(mean.mean + half) : kNaN,
                           summary.count > 0 ? summary.mean : kNaN});
}

std::string Short(double value) { return schema::NumberText(value, 4); }

}  // namespace gyrebox::analysis
