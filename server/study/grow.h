/// Growth of a study by realizations, by axis values, or by an axis.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study_service.pb.h"
#include "study/expand.h"

namespace gyrebox::study {

/// Faults of the request that cannot appear in the grown study: numbers out of range, nothing to add, an axis over a
/// field that has no value.
std::vector<v1::FieldViolation> CheckGrowth(const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

/// The study with the request's axes first, exactly as given, so that violation paths refer to the request.
v1::StudySpec AsAsked(const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

/// The grown study: its own axes with the new values, then the new axes, and the new number of realizations. The
/// request must be valid.
v1::StudySpec Grown(const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

/// Translates the paths of faults of AsAsked() or Grown() to paths of the request.
std::vector<v1::FieldViolation> InRequest(const std::vector<v1::FieldViolation>& violations,
                                          const v1::StudySpec& checked, const v1::GrowStudyRequest& request);

/// Runs of Grown() that the study does not have, in the order of Expand().
/// @param audited audit runs that the study already has.
std::vector<PlannedRun> AddedRuns(const v1::StudySpec& spec, const v1::StudySpec& grown,
                                  std::vector<AuditedRun> audited = {}, const Stop& stop = {});

/// Values of the existing runs on the new axes.
std::vector<double> ValuesOfOldRuns(const v1::StudySpec& spec, const v1::StudySpec& grown);

/// What was added, such as "2 trials, 3 values of drive.sine.amplitude".
std::string GrowthText(const v1::StudySpec& spec, const v1::StudySpec& grown);

}  // namespace gyrebox::study
