/// Prints the stages of a study.
#pragma once

#include <ostream>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// Writes one line per stage: duration and changes, including those by an axis. Nothing if there are none.
void WriteStages(std::ostream& out, const v1::StudySpec& spec);

}  // namespace gyrebox::client
