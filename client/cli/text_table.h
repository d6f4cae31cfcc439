/// Tables for people and for other programs.
#pragma once

#include <ostream>
#include <string>
#include <vector>

namespace gyrebox::client {

using Row = std::vector<std::string>;

enum class Align { kLeft, kRight };

/// Writes rows in aligned columns, two spaces apart. The first rows may be a header; empty last columns leave no
/// blanks. Cells are shown by schema::Visible().
void WriteAligned(std::ostream& out, const std::vector<Row>& rows, const std::vector<Align>& align);

/// Writes one record of a CSV file as in RFC 4180. A cell that a spreadsheet would take for a formula, as it begins
/// with = + - or @ and is no number, gets a ' in front (OWASP, "CSV Injection",
/// https://owasp.org/www-community/attacks/CSV_Injection). Cells are shown by schema::Visible().
void WriteCsv(std::ostream& out, const Row& row);

/// Writes a line that readers of CSV skip as a comment, and spreadsheets show: none of its parts looks like a formula.
void WriteCsvComment(std::ostream& out, const std::string& text);

}  // namespace gyrebox::client
