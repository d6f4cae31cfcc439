/// Checks a study.
#pragma once

#include <cstdint>
#include <limits>
#include <vector>

#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Largest number of runs of one study.
inline constexpr double kMostRuns = 100'000;

/// All faults of a study whose defaults are filled in; none where it can run.
/// @param memory_bytes what the device has for beds; a run that needs more is a fault.
std::vector<v1::FieldViolation> Validate(const v1::StudySpec& spec,
                                         int64_t memory_bytes = std::numeric_limits<int64_t>::max());

}  // namespace gyrebox::study
