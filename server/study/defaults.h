/// Fills in what a study leaves out.
#pragma once

#include "gyrebox/v1/study.pb.h"
#include "study/saved_start.h"

namespace gyrebox::study {

/// Sets every field and choice that the study leaves out and the schema has a default for. What is given stays.
/// @param saved the run that the study starts from, or null where it names none: the bed is that of the run.
/// The solver and the time step, which may differ from point to point, are left to AtPoint().
void FillDefaults(v1::StudySpec* spec, const FoundRun* saved = nullptr);

/// The same for a solver that was chosen later.
void FillConverged(v1::Converged* converged);

}  // namespace gyrebox::study
