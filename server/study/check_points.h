/// Checks what only shows where fields come together, at every point of a study.
#pragma once

#include <memory>

#include "gyrebox/device.h"
#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"
#include "study/violations.h"

namespace gyrebox::study {

/// Adds faults of steps, drive, spinners, domain, and memory of a device, which may be null. Looks only at fields that
/// are sound so far. @param saved the beads of a saved start, or null.
void CheckPoints(const v1::StudySpec& spec, const kernels::Device* device,
                 const std::shared_ptr<const kernels::SavedBed>& saved, const Stop& stop, Violations* violations);

}  // namespace gyrebox::study
