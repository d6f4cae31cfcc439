/// Checks what the stages of a study change.
#pragma once

#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// A change that cannot be made.
struct BadChange {
  std::string path;         ///< such as schedule.stages[1].step.amplitude
  std::string description;  ///< what is wrong and what would be right
};

/// All changes that cannot be made: values out of the range of the field that they set, and numbers that the wave of
/// that stage does not have.
std::vector<BadChange> BadChanges(const v1::StudySpec& at);

}  // namespace gyrebox::study
