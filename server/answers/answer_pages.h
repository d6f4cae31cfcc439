/// Splits answers and tables that are too large for one message.
#pragma once

#include <cstddef>
#include <vector>

#include "gyrebox/v1/analysis.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::analysis {

/// Splits answers into pages of at most max_bytes; a single quantity or row may be larger. The first page holds all
/// other fields. An answer that does not fit continues on the next page with its topic, its next quantities and its
/// next plots; a plot continues with its name and its next rows.
std::vector<v1::Answers> CutIntoPages(v1::Answers whole, size_t max_bytes);

/// Splits a table into pages of at most max_rows and max_bytes; each page repeats all other fields.
std::vector<v1::StudyTable> CutIntoPages(v1::StudyTable whole, int max_rows, size_t max_bytes);

}  // namespace gyrebox::analysis
