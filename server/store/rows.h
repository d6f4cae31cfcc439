/// From rows of the database to messages of the schema.
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

/// Values of axes as a column holds them.
std::vector<double> ToAxisValues(const std::string& bytes);

/// Run of a row with the columns that all statements on runs select.
v1::Run ToRun(const Statement& row);
/// Change count of such a row.
int64_t ChangeOf(const Statement& row);

/// Etag of a study: how often people edited it, and how often it changed in all.
std::string StudyEtag(int64_t edits, int64_t changes);

/// Study of a row of kSelectStudy, without its counts by state and its labels.
v1::Study ToStudy(const Statement& row);

/// Sets the counts, progress and state of a study.
absl::Status AddCounts(Connection& connection, int64_t id, bool cancelled, v1::Study* study);

}  // namespace gyrebox::store
