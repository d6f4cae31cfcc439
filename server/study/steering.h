/// Adjustments that users make to a live run.
#pragma once

#include <google/protobuf/repeated_ptr_field.h>

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/run.pb.h"
#include "gyrebox/v1/steering.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// An adjustment at a step, made from the paths that a user gives, or all its faults.
struct RequestedAdjustment {
  v1::ReplayedAdjustment change;
  std::vector<v1::FieldViolation> faults;
  std::string warning;     ///< why results after it are doubtful; empty if they are not
  v1::RunSettings before;  ///< values of the changed fields before it, ramps at their ends
};

/// The change of an entry of KIND_CHANGE.
v1::ReplayedAdjustment ToReplayed(const v1::Adjustment& entry);

/// The adjustments of a journal that change fields and are not withdrawn, in order. @param journal from its first
/// entry.
v1::Steering ToSteering(const std::vector<v1::Adjustment>& journal);

/// The study at the point of a run, with all steering so far and the current number of steps of the run.
v1::StudySpec SpecOf(const v1::StudySpec& spec, const v1::Run& run, const std::vector<v1::Adjustment>& journal);

}  // namespace gyrebox::study
