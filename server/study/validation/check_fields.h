/// Checks every field of a study by its own rule.
#pragma once

#include "gyrebox/v1/study.pb.h"
#include "study/validation/violations.h"

namespace gyrebox::study {

/// Adds a fault for every field that is missing, not finite, out of range or a text with hidden characters, and for
/// every missing choice. A field that an axis varies may be missing.
void CheckFields(const v1::StudySpec& spec, Violations* violations);

}  // namespace gyrebox::study
