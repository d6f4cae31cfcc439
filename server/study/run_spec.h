/// Converts a study to the plain numbers that the kernels take.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// A run as the kernels take it.
/// @param at valid study with its defaults filled in and its axes set to this run's values, see AtPoint().
/// @param saved the beads of a saved start; without them such a run has neither beads nor sides.
kernels::RunSpec ToRunSpec(const v1::StudySpec& at, const v1::Seeds& seeds,
                           const std::shared_ptr<const kernels::SavedBed>& saved = nullptr);

/// Forces, frictions, drags, temperature, equation and drive of a run: the part of ToRunSpec() that does not depend on
/// the time step. @param at may be invalid.
kernels::RunSpec ToPhysics(const v1::StudySpec& at);

/// Packing fraction: fraction of the area covered by beads.
double PackingFraction(const v1::Bed& bed);

/// Time between samples in tau, before rounding down to whole steps.
double SampleInterval(const v1::StudySpec& at);

/// Max beads of a bed whose frames are kept: a frame is one database blob of at most a billion bytes.
inline constexpr int64_t kMaxFrameBeads = 50'000'000;

/// Steps from one kept frame to the next: a whole number of samples, at least one. 0 if the study keeps no frames.
/// @param run made from the same study.
int64_t FrameStepsOf(const v1::StudySpec& at, const kernels::RunSpec& run);

/// Path in the study from which a member of kernels::RunSpec was made, such as bed.bead_count for side_x.
std::string StudyPathOf(const std::string& run_spec_member);

}  // namespace gyrebox::study
