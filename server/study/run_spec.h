/// From a study to the plain numbers that the kernels take.
#pragma once

#include <cstdint>
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

/// What forces, frictions, drags, temperature, equation and drive a run has: the part of ToRunSpec() that is there
/// before its time step is. @param at need not be sound.
kernels::RunSpec ToPhysics(const v1::StudySpec& at);

/// Packing fraction: fraction of the area that beads cover.
double CoveredShare(const v1::Bed& bed);

/// Time between samples in tau, before it is rounded down to whole steps.
double SampleInterval(const v1::StudySpec& at);

/// Most beads of a bed that frames are kept of: a frame is one blob of the database, which takes a billion bytes.
inline constexpr int64_t kMostFrameBeads = 50'000'000;

/// Steps from one frame that is kept to the next: whole samples, at least one. 0 where the study keeps none.
/// @param run made from the same.
int64_t FrameStepsOf(const v1::StudySpec& at, const kernels::RunSpec& run);

/// Path in the study of what a member of kernels::RunSpec was made from, such as bed.bead_count for side_x.
std::string StudyPathOf(const std::string& run_spec_member);

}  // namespace gyrebox::study
