/// From a study to the plain numbers that the kernels take.
#pragma once

#include <memory>
#include <string>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// One run as the kernels take it.
/// @param at the study with its defaults filled in and its axes set to this run's values, see AtPoint(). It is sound.
/// @param saved the beads of a saved start; without them such a run has neither beads nor sides.
kernels::RunSpec ToRunSpec(const v1::StudySpec& at, const v1::Seeds& seeds,
                           const std::shared_ptr<const kernels::SavedBed>& saved = nullptr);

/// Path in the study of what a member of kernels::RunSpec was made from, such as bed.bead_count for side_x.
std::string StudyPathOf(const std::string& run_spec_member);

}  // namespace gyrebox::study
