/// Table of plateau means of a study.
#pragma once

#include <absl/status/statusor.h>

#include <string>

#include "digest/digest_cache.h"
#include "gyrebox/v1/study.pb.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// Plateaus of one observable at the points of a study: mean over realizations, spread, interval. Counts the runs that
/// enter no average. INVALID_ARGUMENT if the study measures no such number.
/// @param observable empty for that of the study. @param cache may be null.
absl::StatusOr<v1::StudyTable> Tabulate(store::Store& store, int64_t study_id, const std::string& observable,
                                        const study::Stop& stop = {}, DigestCache* cache = nullptr);

}  // namespace gyrebox::analysis
