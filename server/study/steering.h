/// Changes that people make in a run while it runs.
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

/// A change at a step, from the paths that a person gives; or every fault of it.
struct AskedChange {
  v1::SteeredChange change;
  std::vector<v1::FieldViolation> faults;
  std::string warning;  ///< why figures after it are doubtful; empty where they are not
};

/// The changes of a journal, in its order.
v1::Steering ToSteering(const std::vector<v1::Adjustment>& journal);

/// The study at the point of a run, with all that was steered so far, and the run's present end.
v1::StudySpec SpecOf(const v1::StudySpec& spec, const v1::Run& run, const std::vector<v1::Adjustment>& journal);

}  // namespace gyrebox::study
