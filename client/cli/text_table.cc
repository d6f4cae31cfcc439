#include "cli/text_table.h"

#include <algorithm>

namespace gyrebox::client {

/// Columns that a UTF-8 text takes on a screen.
static size_t Width(const std::string& text) {
  return std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; });
}

void WriteAligned(std::ostream& out, const std::vector<Row>& rows, const std::vector<Align>& align) {
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

static std::string Quoted(const std::string& cell) {
  if (cell.find_first_of(",\"\r\n") == std::string::npos) return cell;
  std::string quoted = "\"";
  for (const char c : cell) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
  return quoted + "\"";
}

void WriteCsv(std::ostream& out, const Row& row) {
  for (size_t i = 0; i < row.size(); ++i) out << (i ? "," : "") << Quoted(row[i]);
  out << "\r\n";
}

}  // namespace gyrebox::client
