/// Fills in what a study leaves out.
#pragma once

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Sets every field and choice that the study leaves out and the schema has a default for. What is given stays.
void FillDefaults(v1::StudySpec* spec);

}  // namespace gyrebox::study
