/// Answers of a study.
#pragma once

#include <absl/status/statusor.h>

#include "digest/digest_cache.h"
#include "gyrebox/v1/analysis.pb.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// Fills in the defaults of missing options. INVALID_ARGUMENT names every option out of range.
absl::Status FillOptions(v1::AnalysisOptions* options);

/// Answers of a study from its ended runs. Options must be valid and complete, see FillOptions(). INVALID_ARGUMENT if
/// the study measures no such number; NOT_FOUND if there is no such study.
/// @param cache of runs that were read before; may be null.
absl::StatusOr<v1::Answers> Analyse(store::Store& store, int64_t study_id, const v1::AnalysisOptions& options,
                                    DigestCache* cache = nullptr, const study::Stop& stop = {});

}  // namespace gyrebox::analysis
