/// Answers and tables that are too large for one message.
#pragma once

#include <cstddef>
#include <vector>

#include "gyrebox/v1/analysis.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::analysis {

/// Cuts answers into pages of at most so many bytes; a single quantity or row may be larger. The first page holds all
/// that is no answer. An answer that does not fit goes on in the next page: there it has its topic again, its next
/// quantities, and its next plots, of which one that goes on has its name and its next rows.
std::vector<v1::Answers> CutIntoPages(v1::Answers whole, size_t most_bytes);

/// Cuts a table into pages of so many rows and bytes; each holds all that is no row.
std::vector<v1::StudyTable> CutIntoPages(v1::StudyTable whole, int most_rows, size_t most_bytes);

}  // namespace gyrebox::analysis
