/// The series of all runs as files: samples.csv, and structure averaged over the plateau of each run; and plots of
/// their means.
#pragma once

#include <absl/status/status.h>

#include <map>
#include <memory>
#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"
#include "lib/client.h"
#include "report/csv_folder.h"
#include "report/spectra.h"

namespace gyrebox::client {

/// Reads the series of one run after another; holds one at a time.
class SeriesFiles {
 public:
  SeriesFiles(Client& client, const v1::Answers& answers, const v1::StudySpec& spec, CsvFolder* folder);

  /// Adds a run with samples.
  absl::Status Add(const v1::Run& run);
  /// Ends the files. @return plots of means over realizations: growth and spectra.
  std::vector<v1::Plot> Finish();

 private:
  /// Columns of run, axes and realization.
  std::vector<CsvColumn> RunColumns() const;
  void Begin(const v1::ListSamplesResponse& series);
  void AddMeans(const v1::Run& run, const v1::ListSamplesResponse& series);

  Client& client_;
  const v1::Answers& answers_;
  const v1::StudySpec& spec_;
  CsvFolder& folder_;
  std::unique_ptr<CsvFolder::Table> samples_;
  std::map<std::string, std::unique_ptr<CsvFolder::Table>> spectra_;
  SpectrumMeans means_;
};

}  // namespace gyrebox::client
