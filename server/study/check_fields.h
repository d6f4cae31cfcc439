/// Checks every field of a study by its own rule.
#pragma once

#include "gyrebox/v1/study.pb.h"
#include "study/violations.h"

namespace gyrebox::study {

/// Adds a fault for every field that is missing, not finite, out of range or a text that cannot be shown, and for every
/// choice that is missing. A field that an axis names may be missing.
void CheckFields(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
