/// Checks that what a study chooses fits together.
#pragma once

#include "gyrebox/v1/study.pb.h"
#include "study/violations.h"

namespace gyrebox::study {

/// Density and forces, duration and stages, terms of sums, waves in stages.
void CheckChoices(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
