/// The drive of a run at chosen steps.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "gyrebox/v1/observable.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// The drive at each step. @param at study at the point of the run, with its steering. @param steps not decreasing.
std::vector<v1::AppliedDrive> AppliedDrives(const v1::StudySpec& at, std::span<const int64_t> steps);

}  // namespace gyrebox::study
