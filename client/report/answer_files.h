/// CSV files of the answers: a file for each plot, the quantities, the runs.
#pragma once

#include <absl/status/status.h>

#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "report/csv_folder.h"

namespace gyrebox::client {

/// Writes a plot; INTERNAL if its name is no file name.
absl::Status WritePlot(const v1::Plot& plot, CsvFolder* folder);

/// Writes quantities.csv.
void WriteQuantities(const v1::Answers& answers, CsvFolder* folder);

/// runs.csv, with everything needed to repeat each run.
std::vector<CsvColumn> RunCsvColumns(const v1::Answers& answers);
Row RunCells(const v1::Run& run);

}  // namespace gyrebox::client
