/// Time-step audit of the points of a study.
#pragma once

#include <string>
#include <vector>

#include "digest/study_data.h"

namespace gyrebox::analysis {

/// Compares the runs of every audited point with those at half the step, and sets Point::audit.
void JudgeAudits(StudyData* data);

/// "+38 % (+12 % to +70 %)": a change and its interval.
std::string ChangeText(const v1::StepChange& change);

/// "number_average_size +38 % (...); weight_average_size ...": only those that move, if any does; else all.
std::string ChangesText(const v1::StepAudit& audit);

}  // namespace gyrebox::analysis
