/// Rows of a damaged database, put into a new one.
#pragma once

#include <absl/status/status.h>

#include <map>
#include <memory>
#include <string>
#include <vector>

#include "store/database.h"
#include "store/pages.h"

namespace gyrebox::store {

/// What the rows alone do not say.
struct FoundBeside {
  std::map<std::string, int64_t> sequences;        ///< highest number ever given, by table
  std::vector<std::vector<int64_t>> frames_known;  ///< study, run, step: by an index of the frames
  size_t bad_pages = 0;
  int64_t bad_rows = 0;
};

/// Copies all rows that are rows of a store. Damage is passed by. @param to a new store's database, without checks of
/// foreign keys.
absl::StatusOr<FoundBeside> CopyRows(PageFile& pages, Connection& to);

}  // namespace gyrebox::store
