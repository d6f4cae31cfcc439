/// Checks a study.
#pragma once

#include <vector>

#include "gyrebox/device.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "study/saved_start.h"
#include "study/stop.h"

namespace gyrebox::study {

/// All faults of a study whose defaults are filled in, the first Violations::kMost of them; none where it can run.
/// Where the study is too large (study/check_size.h), that alone: the rest would take too long.
/// @param device that runs are for, or null: one that needs more memory than there is for beds is a fault.
/// @param saved the run that the study starts from; only for a study that names none may it be null.
std::vector<v1::FieldViolation> Validate(const v1::StudySpec& spec, const kernels::Device* device = nullptr,
                                         const FoundRun* saved = nullptr, const Stop& stop = {});

}  // namespace gyrebox::study
