/// Tables for users (aligned) and for programs (CSV).
#pragma once

#include <ostream>
#include <string>
#include <vector>

namespace gyrebox::client {

using Row = std::vector<std::string>;

enum class Align { kLeft, kRight };

/// Writes rows in aligned columns, two spaces apart. The first rows may be a header; empty last columns leave no
/// trailing blanks. schema::Visible() escapes the cells.
void WriteAligned(std::ostream& out, const std::vector<Row>& rows, const std::vector<Align>& align);

/// Writes one record of a CSV file as in RFC 4180. Prefixes ' to a cell that a spreadsheet would take for a formula,
/// because it begins with = + - or @ and is not a number (OWASP, "CSV Injection",
/// https://owasp.org/www-community/attacks/CSV_Injection). schema::Visible() escapes the cells.
void WriteCsv(std::ostream& out, const Row& row);

/// Writes a comment line. CSV readers skip it, spreadsheets show it: no part of it looks like a formula.
void WriteCsvComment(std::ostream& out, const std::string& text);

}  // namespace gyrebox::client
