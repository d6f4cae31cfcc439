/// Checks that the choices of a study are consistent.
#pragma once

#include "gyrebox/v1/study.pb.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

/// Density and forces, duration and stages, terms of sums, waves in stages.
void CheckChoices(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
