/// Which frames of a study a report shows; no other file decides this.
#pragma once

#include <absl/status/status.h>

#include "answers/plan.h"
#include "digest/study_data.h"
#include "gyrebox/v1/analysis.pb.h"
#include "store/store.h"

namespace gyrebox::analysis {

/// Max snapshots of a study.
constexpr int kMaxSnapshots = 12;

/// The run of a point nearest to the mean of those that count; null if none counts.
const RunDigest* TypicalOf(const Point& point);

/// Adds the snapshots of a study to its finished answers, whose results decide the selection. Selects only frames that
/// the store has.
absl::Status AddSnapshots(store::Store& store, const StudyData& data, const Plan& plan, v1::Answers* answers);

/// Max points whose beds are added.
constexpr size_t kMaxBeds = 64;

/// Adds the last frame of a typical run of each point; every second, third, ... value of long axes.
absl::Status AddBeds(store::Store& store, const StudyData& data, v1::Answers* answers);

}  // namespace gyrebox::analysis
