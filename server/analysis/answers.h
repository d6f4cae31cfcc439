/// What a study answers.
#pragma once

#include <absl/status/statusor.h>

#include "analysis/digest_cache.h"
#include "gyrebox/v1/analysis.pb.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// Fills in the options that are not given. INVALID_ARGUMENT with every one that is out of its range.
absl::Status FillOptions(v1::AnalysisOptions* options);

/// Answers of a study, from the runs that have ended. The options are sound and filled in. INVALID_ARGUMENT where the
/// study measures no such number; NOT_FOUND where there is no such study.
/// @param cache where runs that were read before are looked for; may be null.
absl::StatusOr<v1::Answers> Analyse(store::Store& store, int64_t study_id, const v1::AnalysisOptions& options,
                                    DigestCache* cache = nullptr, const study::Stop& stop = {});

}  // namespace gyrebox::analysis
