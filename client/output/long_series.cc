#include "output/long_series.h"

#include <cmath>

#include "output/text.h"
#include "output/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

using schema::NumberText;

/// Enough digits to distinguish a double from its neighbours.
constexpr int kExactDigits = 17;

void WriteLongHead(std::ostream& out, const v1::TabulateRunsResponse& axes) {
  Row head = {"run"};
  for (int i = 0; i < axes.axis_fields_size(); ++i) head.push_back(WithUnit(axes.axis_fields(i), axes.axis_units(i)));
  head.insert(head.end(),
              {"realization", "audit", "step", "time [tau]", "drive_amplitude", "drive_amplitude_unit",
               "drive_frequency [cycles/tau]", "observable", "unit", "bin_low", "bin_high", "bin_unit", "value"});
  WriteCsv(out, head);
}

/// What all values of a sample have in common.
static Row HeadOf(const v1::Run& run, const v1::Sample& sample) {
  Row row = {run.name()};
  for (const double value : run.axis_values()) row.push_back(NumberText(value));
  row.insert(row.end(), {std::to_string(run.trial()), run.audit() ? "half step" : "", std::to_string(sample.step()),
                         NumberText(sample.time())});
  if (!sample.has_drive()) {
    row.insert(row.end(), {"", "", ""});
    return row;
  }
  const v1::AppliedDrive& drive = sample.drive();
  row.insert(row.end(), {NumberText(drive.amplitude()), drive.unit(), NumberText(drive.frequency())});
  return row;
}

/// Lower and upper edge of a bin, and their unit; empty if the observable has no bins.
static Row BinOf(const v1::Observable& observable, int bin) {
  if (!(observable.bin_width() > 0)) return {"", "", ""};
  const auto edge = [&](int i) { return NumberText(observable.first_bin() + i * observable.bin_width(), 12); };
  return {edge(bin), edge(bin + 1), observable.bin_unit()};
}

void WriteLongSeries(std::ostream& out, const v1::Run& run, const v1::ListSamplesResponse& series) {
  for (const v1::Sample& sample : series.samples()) {
    const Row head = HeadOf(run, sample);
    int index = 0;
    for (const v1::Observable& observable : series.observables()) {
      for (int bin = 0; bin < observable.width(); ++bin, ++index) {
        const double value = sample.values(index);
        if (std::isnan(value)) continue;
        Row row = head;
        row.insert(row.end(),
                   {observable.width() == 1 ? observable.name() : observable.name() + "_" + std::to_string(bin),
                    observable.unit()});
        const Row edges = BinOf(observable, bin);
        row.insert(row.end(), edges.begin(), edges.end());
        row.push_back(NumberText(value, kExactDigits));
        WriteCsv(out, row);
      }
    }
  }
}

}  // namespace gyrebox::client
