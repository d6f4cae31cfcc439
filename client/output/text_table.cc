#include "output/text_table.h"

#include <absl/strings/numbers.h>

#include <algorithm>

#include "schema/visible_text.h"

namespace gyrebox::client {

/// Columns that a UTF-8 text occupies on a screen.
static size_t Width(const std::string& text) {
  return std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; });
}

void WriteAligned(std::ostream& out, const std::vector<Row>& given, const std::vector<Align>& align) {
  std::vector<Row> rows = given;
  for (Row& row : rows) std::transform(row.begin(), row.end(), row.begin(), schema::Visible);
  std::vector<size_t> widths(align.size());
  for (const Row& row : rows) {
    for (size_t i = 0; i < row.size(); ++i) widths[i] = std::max(widths[i], Width(row[i]));
  }
  for (const Row& row : rows) {
    std::string line;
    for (size_t i = 0; i < row.size(); ++i) {
      const std::string blanks(widths[i] - Width(row[i]), ' ');
      line += (i ? "  " : "") + (align[i] == Align::kRight ? blanks + row[i] : row[i] + blanks);
    }
    out << line.substr(0, line.find_last_not_of(' ') + 1) << "\n";
  }
}

static bool LooksLikeFormula(const std::string& cell) {
  double number = 0;
  return cell.find_first_of("=+-@") == 0 && !absl::SimpleAtod(cell, &number);
}

static std::string Quoted(const std::string& given) {
  const std::string cell = (LooksLikeFormula(given) ? "'" : "") + schema::Visible(given);
  if (cell.find_first_of(",\"\r\n") == std::string::npos) return cell;
  std::string quoted = "\"";
  for (const char c : cell) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
  return quoted + "\"";
}

void WriteCsv(std::ostream& out, const Row& row) {
  for (size_t i = 0; i < row.size(); ++i) out << (i ? "," : "") << Quoted(row[i]);
  out << "\r\n";
}

void WriteCsvComment(std::ostream& out, const std::string& text) {
  out << "# ";
  const std::string visible = schema::Visible(text);
  for (size_t i = 0; i < visible.size(); ++i) {
    out << visible[i];
    // A spreadsheet starts a new cell here.
    const bool separator = visible[i] == ',' || visible[i] == ';';
    if (separator && i + 1 < visible.size() && LooksLikeFormula(visible.substr(i + 1))) out << ' ';
  }
  out << "\r\n";
}

}  // namespace gyrebox::client
