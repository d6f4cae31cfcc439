/// The stages of a study in words.
#pragma once

#include <ostream>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// Writes the stages, one a line: length, and what changes, by an axis too. Nothing where there are none.
void WriteStages(std::ostream& out, const v1::StudySpec& spec);

}  // namespace gyrebox::client
