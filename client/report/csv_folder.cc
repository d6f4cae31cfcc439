#include "report/csv_folder.h"

#include <cctype>
#include <cmath>

#include "schema/number_text.h"

namespace gyrebox::client {

std::string ColumnName(const std::string& path) {
  std::string name;
  for (const char c : path) {
    if (std::isalnum(static_cast<unsigned char>(c))) {
      name += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    } else if (!name.empty() && name.back() != '_') {
      name += '_';
    }
  }
  if (!name.empty() && name.back() == '_') name.pop_back();
  return name;
}

std::string CsvNumber(double value) { return std::isfinite(value) ? schema::NumberText(value) : ""; }

std::vector<CsvColumn> AxisCsvColumns(const v1::Answers& answers) {
  std::vector<CsvColumn> columns;
  for (const auto& axis : answers.axes()) {
    columns.push_back({ColumnName(axis.field()), axis.unit(), "Value of the field " + axis.field() + " of the study."});
  }
  return columns;
}

CsvFolder::CsvFolder(const std::string& path) : path_(path) {
  std::error_code error;
  std::filesystem::create_directories(path_, error);
  if (error) fault_ = "cannot create the folder " + path + ": " + error.message();
}

void CsvFolder::Write(const std::string& name, const std::string& text) {
  if (!fault_.empty()) return;
  const std::filesystem::path path = path_ / name;
  std::ofstream out(path, std::ios::binary);
  out << text;
  out.close();
  if (!out) fault_ = "cannot write " + path.string();
}

std::unique_ptr<CsvFolder::Table> CsvFolder::Begin(const std::string& name, const std::vector<CsvColumn>& columns) {
  auto table = std::make_unique<Table>();
  table->path_ = (path_ / (name + ".csv")).string();
  table->out_.open(table->path_, std::ios::binary);
  Row head;
  for (const CsvColumn& column : columns) {
    head.push_back(column.name);
    codebook_.push_back({name + ".csv", column.name, column.unit, column.definition, column.method, column.reference});
  }
  table->Add(head);
  return table;
}

void CsvFolder::End(std::unique_ptr<Table> table) {
  table->out_.close();
  if (!table->out_ && fault_.empty()) fault_ = "cannot write " + table->path_;
}

void CsvFolder::WriteCodebook() {
  const std::vector<Row> described = std::move(codebook_);
  codebook_.clear();
  auto table = Begin("codebook", {{"file"}, {"column"}, {"unit"}, {"definition"}, {"method"}, {"reference"}});
  for (const Row& row : described) table->Add(row);
  End(std::move(table));
}

}  // namespace gyrebox::client
