/// What makes the realizations of a point differ.
#pragma once

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Whether all realizations of a point are the same run: they start from one saved state, and there is neither noise
/// nor disorder at any time.
/// @param at a study at a point, with defaults filled in.
bool RealizationsAreIdentical(const v1::StudySpec& at);

}  // namespace gyrebox::study
