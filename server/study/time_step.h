/// What a study leaves open of its dynamics: the solver, the time step and its order at each point.
#pragma once

#include <string>

#include "gyrebox/step_choice.h"
#include "gyrebox/v1/study.pb.h"
#include "gyrebox/v1/study_service.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Peaks of the drive, temperature and friction over the whole course of a run.
kernels::Peaks PeaksOf(const v1::StudySpec& at);

/// The longest step by the rule of the kernels, and what sets it. @param at a study at a point, its solver and order
/// chosen.
kernels::StepChoice StepByRule(const v1::StudySpec& at, const kernels::Peaks& peaks);

/// Chooses the solver, the order and the time step of a study at a point where it gives none. Samples are a whole
/// number of steps of such a length apart. The study need not be sound.
void FillDynamics(v1::StudySpec* at);

/// Whether a study at a point takes the lagged solver where the rule of the kernels calls for the converged one.
bool IsLaggedAgainstRule(const v1::StudySpec& at, const kernels::Peaks& peaks);

/// Why figures after a step are doubtful, in a sentence; empty where they are not. @param peaks from that step on.
/// @param before peaks up to there, for which nothing is said again.
std::string StepWarning(const v1::StudySpec& at, const kernels::Peaks& peaks, const kernels::Peaks& before);

/// The time steps of a sound study, and what is doubtful about its dynamics.
void TellTimeSteps(const v1::StudySpec& spec, const Stop& stop, v1::CheckStudyResponse* response);

}  // namespace gyrebox::study
