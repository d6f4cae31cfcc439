/// Estimates the resources that a study needs.
#pragma once

#include <memory>

#include "gyrebox/device.h"
#include "gyrebox/v1/study.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Estimates runs, work, memory, disk and duration of a valid study without running it.
/// @param bead_steps_per_second throughput on which the duration is based; > 0. @param device on which it would run.
/// @param saved the beads of a saved start, or null.
v1::Estimate EstimateStudy(const v1::StudySpec& spec, double bead_steps_per_second, const kernels::Device& device,
                           const std::shared_ptr<const kernels::SavedBed>& saved = nullptr, const Stop& stop = {});

}  // namespace gyrebox::study
