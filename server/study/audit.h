/// Audit of the time step: which points of a study are run once more with half of it.
#pragma once

#include <cstddef>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Most work of an audit where a study does not say, as a fraction of that of the study: 0.15 where an axis varies the
/// amplitude or the frequency of the drive, else 0.
double DefaultAuditCost(const v1::StudySpec& spec);

/// Trials that are run again at each audited point: up to four, the first ones.
int AuditedTrials(const v1::StudySpec& spec);

/// How long the time step of a point is beside what its drive allows. Spinners at a rate w carry beads about them at a
/// speed of order w; a step of first order drives beads that circle apart by v^2 dt / 2 in a unit of time. So it is
/// w^2 dt, w the highest peak rate in the course of a run.
double StepRisk(const v1::StudySpec& at);

/// Places in Points() of those that are audited, the one at the highest risk first: as many as max_cost allows. Points
/// at no risk are none of them.
std::vector<size_t> AuditedPoints(const v1::StudySpec& spec);

}  // namespace gyrebox::study
