/// What the audit of the time step says of the points of a study.
#pragma once

#include <string>
#include <vector>

#include "analysis/study_data.h"

namespace gyrebox::analysis {

/// Compares the runs of every audited point with those with half the step, and sets Point::audit.
void JudgeAudits(StudyData* data);

/// "+38 % (+12 % to +70 %)": a change and its interval.
std::string ChangeText(const v1::StepChange& change);

/// "number_average_size +38 % (...); weight_average_size ...": all changes that count, or all.
std::string ChangesText(const v1::StepAudit& audit);

}  // namespace gyrebox::analysis
