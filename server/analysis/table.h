/// The table of a study.
#pragma once

#include <absl/status/statusor.h>

#include <string>

#include "gyrebox/v1/study.pb.h"
#include "store/store.h"
#include "study/stop.h"

namespace gyrebox::analysis {

/// Plateaus of one observable over the points of a study: mean over trials, spread, interval. Runs that did not end
/// soundly are counted and left out. INVALID_ARGUMENT where the study measures no such number.
/// @param observable spinner_weight_average_size where empty.
absl::StatusOr<v1::StudyTable> Tabulate(store::Store& store, int64_t study_id, const std::string& observable,
                                        const study::Stop& stop = {});

}  // namespace gyrebox::analysis
