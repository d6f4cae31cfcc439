/// Checks the axes of a study.
#pragma once

#include <string>

#include "gyrebox/v1/study.pb.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

/// Adds a fault for every axis that names no field it may vary, or gives values that the field cannot take.
void CheckAxes(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
