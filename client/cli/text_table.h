/// Tables for people and for other programs.
#pragma once

#include <ostream>
#include <string>
#include <vector>

namespace gyrebox::client {

using Row = std::vector<std::string>;

enum class Align { kLeft, kRight };

/// Writes rows in aligned columns, two spaces apart. The first rows may be a header; empty last columns leave no
/// blanks.
void WriteAligned(std::ostream& out, const std::vector<Row>& rows, const std::vector<Align>& align);

/// Writes one record of a CSV file as in RFC 4180.
void WriteCsv(std::ostream& out, const Row& row);

}  // namespace gyrebox::client
