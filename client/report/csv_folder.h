/// The folder of a report: CSV files that statistics programs read with their defaults, and a codebook of their
/// columns.
#pragma once

#include <filesystem>
#include <fstream>
#include <memory>
#include <string>
#include <vector>

#include "gyrebox/v1/analysis.pb.h"
#include "output/text_table.h"

namespace gyrebox::client {

/// A column of a CSV file, described in codebook.csv.
struct CsvColumn {
  std::string name;
  std::string unit = {};
  std::string definition = {};
  std::string method = {};
  std::string reference = {};
};

/// A name for a column: snake_case, "drive_sine_amplitude" from drive.sine.amplitude.
std::string ColumnName(const std::string& path);

/// A number for a cell; empty unless it is finite.
std::string CsvNumber(double value);

/// Columns for the axes of a study.
std::vector<CsvColumn> AxisCsvColumns(const v1::Answers& answers);

/// Writes files to a folder; records the first failure.
class CsvFolder {
 public:
  explicit CsvFolder(const std::string& path);

  void Write(const std::string& name, const std::string& text);

  /// A CSV file that is written row by row.
  class Table {
   public:
    void Add(const Row& cells) { WriteCsv(out_, cells); }

   private:
    friend class CsvFolder;
    std::string path_;
    std::ofstream out_;
  };
  /// Begins a CSV file: writes its header and enters its columns in the codebook.
  /// @param name without .csv.
  std::unique_ptr<Table> Begin(const std::string& name, const std::vector<CsvColumn>& columns);
  /// Closes a CSV file.
  void End(std::unique_ptr<Table> table);

  /// Writes the codebook; after all tables.
  void WriteCodebook();

  const std::string& fault() const { return fault_; }

 private:
  const std::filesystem::path path_;
  std::string fault_;
  std::vector<Row> codebook_;
};

}  // namespace gyrebox::client
