/// Fills in the defaults of a study.
#pragma once

#include "gyrebox/v1/study.pb.h"
#include "study/saved_start.h"

namespace gyrebox::study {

/// Sets every field and choice that the study omits and for which the schema has a default. Keeps what is given.
/// @param saved the run that the study starts from, or null: its bed provides the bed fields that the study omits.
/// AtPoint() chooses the solver and the time step, which may differ between points.
void FillDefaults(v1::StudySpec* spec, const FoundRun* saved = nullptr);

/// The same for a converged solver that is chosen later.
void FillConverged(v1::Converged* converged);

}  // namespace gyrebox::study
