/// Chooses what a study leaves open in its dynamics: the solver, the time step and its order at each point.
#pragma once

#include <string>

#include "gyrebox/step_choice.h"
#include "gyrebox/v1/study.pb.h"
#include "gyrebox/v1/study_service.pb.h"
#include "study/stop.h"

namespace gyrebox::study {

/// Peaks of drive, temperature and friction over a whole run.
kernels::Peaks PeaksOf(const v1::StudySpec& at);

/// Longest step that the kernels' rule allows, and what limits it. @param at a study at a point, its solver and order
/// chosen.
kernels::StepChoice StepByRule(const v1::StudySpec& at, const kernels::Peaks& peaks);

/// Chooses the solver, the order and the time step of a study at a point if the study gives none. With a chosen step,
/// samples are a whole number of steps apart. The study may be invalid.
void FillDynamics(v1::StudySpec* at);

/// Whether a study at a point uses the lagged solver although the kernels' rule requires the converged one.
bool IsLaggedAgainstRule(const v1::StudySpec& at, const kernels::Peaks& peaks);

/// Why results after a step are doubtful, in one sentence; empty if they are not. @param peaks from that step on.
/// @param before peaks up to that step; doubts about these are not repeated.
std::string StepWarning(const v1::StudySpec& at, const kernels::Peaks& peaks, const kernels::Peaks& before);

/// Fills in the time steps of a valid study, and warnings about its dynamics.
void TellTimeSteps(const v1::StudySpec& spec, const Stop& stop, v1::CheckStudyResponse* response);

}  // namespace gyrebox::study
