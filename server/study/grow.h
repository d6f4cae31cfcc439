/// A study that grows by trials, by values of its axes, or by an axis.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study_service.pb.h"
#include "study/expand.h"

namespace gyrebox::study {

/// Faults of the request that no study shows: numbers out of range, nothing to add, an axis over a field that has no
/// value.
std::vector<v1::FieldViolation> CheckGrowth(const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

/// The study with the request's axes in front, as the request gives them: its faults, with their paths, are those of
/// the request.
v1::StudySpec AsAsked(const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

/// The study as it is to be: its own axes with the new values, then the new axes, and the new trials. The request is
/// sound.
v1::StudySpec Grown(const v1::StudySpec& spec, const v1::GrowStudyRequest& request);

/// Faults of AsAsked() or of Grown(), with the paths of the request.
std::vector<v1::FieldViolation> InRequest(const std::vector<v1::FieldViolation>& violations,
                                          const v1::StudySpec& checked, const v1::GrowStudyRequest& request);

/// Runs that Grown() has and the study has not, in the order of Expand().
/// @param audited the runs of its audit that the study has.
std::vector<PlannedRun> AddedRuns(const v1::StudySpec& spec, const v1::StudySpec& grown,
                                  std::vector<AuditedRun> audited = {}, const Stop& stop = {});

/// Values at the new axes of the runs that are there.
std::vector<double> ValuesOfOldRuns(const v1::StudySpec& spec, const v1::StudySpec& grown);

/// What was added, such as "2 trials, 3 values of drive.sine.amplitude".
std::string GrowthText(const v1::StudySpec& spec, const v1::StudySpec& grown);

}  // namespace gyrebox::study
