/// Which beds of a study are worth a look: decided here and nowhere else.
#pragma once

#include <absl/status/status.h>

#include "analysis/plan.h"
#include "analysis/study_data.h"
#include "gyrebox/v1/analysis.pb.h"
#include "store/store.h"

namespace gyrebox::analysis {

/// Most snapshots of a study.
constexpr int kMostSnapshots = 12;

/// Adds the snapshots of a study to its answers, which are there already: what they found is what is shown. Only frames
/// that the store has are chosen.
absl::Status AddSnapshots(store::Store& store, const StudyData& data, const Plan& plan, v1::Answers* answers);

}  // namespace gyrebox::analysis
