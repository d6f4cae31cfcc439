/// Checks a study.
#pragma once

#include <vector>

#include "gyrebox/device.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "study/saved_start.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Largest number of runs of one study.
inline constexpr double kMostRuns = 100'000;

/// All faults of a study whose defaults are filled in; none where it can run.
/// @param device that runs are for, or null: one that needs more memory than there is for beds is a fault.
/// @param saved the run that the study starts from; only for a study that names none may it be null.
std::vector<v1::FieldViolation> Validate(const v1::StudySpec& spec, const kernels::Device* device = nullptr,
                                         const FoundRun* saved = nullptr, const Stop& stop = {});

}  // namespace gyrebox::study
