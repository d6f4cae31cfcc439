/// Converts database rows to schema messages.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "store/database.h"

namespace gyrebox::store {

/// Milliseconds since 1970.
int64_t NowMilliseconds();

/// Decodes the axis values of a run from their column.
std::vector<double> ToAxisValues(const std::string& bytes);

/// Run from a row with the common columns of the statements on runs.
v1::Run ToRun(const Statement& row);
/// Change count from such a row.
int64_t ChangeOf(const Statement& row);

/// Etag of a study: number of edits by users and number of all changes.
std::string StudyEtag(int64_t edits, int64_t changes);

/// Study from a row of kSelectStudy, without its counts by state and its labels.
v1::Study ToStudy(const Statement& row);

/// Sets the counts, progress and state of a study.
absl::Status AddCounts(Connection& connection, int64_t id, bool cancelled, v1::Study* study);

}  // namespace gyrebox::store
