/// Validates a study.
#pragma once

#include <vector>

#include "gyrebox/device.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/study.pb.h"
#include "study/saved_start.h"
#include "study/stop.h"

namespace gyrebox::study {

/// All faults of a study whose defaults are filled in, up to Violations::kCapacity; none if it can run. If the study is
/// too large (study/validation/check_size.h), reports only that: the other checks would take too long.
/// @param device for the runs, or null. A run that needs more memory than the device has for beds is a fault.
/// @param saved the run that the study starts from; may be null only if the study names none.
std::vector<v1::FieldViolation> Validate(const v1::StudySpec& spec, const kernels::Device* device = nullptr,
                                         const FoundRun* saved = nullptr, const Stop& stop = {});

}  // namespace gyrebox::study
