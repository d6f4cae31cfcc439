/// Copies the rows of a damaged database into a new one.
#pragma once

#include <absl/status/status.h>

#include <map>
#include <memory>
#include <string>
#include <vector>

#include "store/database.h"
#include "store/pages.h"

namespace gyrebox::store {

/// Information found outside the copied rows.
struct FoundBeside {
  std::map<std::string, int64_t> sequences;        ///< highest number ever given, by table
  std::vector<std::vector<int64_t>> frames_known;  ///< study, run, step, rowid: from an index of the frames
  size_t bad_pages = 0;
  int64_t bad_rows = 0;
};

/// Copies all rows that fit a table of the store; skips damage. @param to database of a new store, with foreign key
/// checks off.
absl::StatusOr<FoundBeside> CopyRows(PageFile& pages, Connection& to);

}  // namespace gyrebox::store
