/// What a study would take.
#pragma once

#include <memory>

#include "gyrebox/device.h"
#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Works out what a sound study would take, without running it.
/// @param bead_steps_per_second rate that the seconds rest on; over 0. @param device that it would run on.
/// @param saved the beads of a saved start, or null.
v1::Estimate EstimateStudy(const v1::StudySpec& spec, double bead_steps_per_second, const kernels::Device& device,
                           const std::shared_ptr<const kernels::SavedBed>& saved = nullptr, const Stop& stop = {});

}  // namespace gyrebox::study
