/// Checks combinations of fields at every point of a study.
#pragma once

#include <memory>

#include "gyrebox/device.h"
#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

/// Adds faults of steps, drive, spinners, domain and device memory. Checks only fields that are sound so far.
/// @param device may be null. @param saved the beads of a saved start, or null.
void CheckPoints(const v1::StudySpec& spec, const kernels::Device* device,
                 const std::shared_ptr<const kernels::SavedBed>& saved, const Stop& stop, Violations* violations);

}  // namespace gyrebox::study
