/// Checks the changes made by stages and by steering.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// An invalid change.
struct BadChange {
  std::string path;         ///< such as schedule.stages[1].step.amplitude
  std::string description;  ///< what is wrong and what would be right
};

/// All invalid changes of stages and steering: values out of the range of the field that they set, and numbers that the
/// wave active at that time does not have.
std::vector<BadChange> BadChanges(const v1::StudySpec& at);

/// Invalid fields of one change alone, by field name. @param wave the field that holds the wave of its step.
std::vector<BadChange> BadChangesIn(const v1::StudySpec& at, const v1::RunSettings& change,
                                    const google::protobuf::FieldDescriptor& wave);

/// The field of a drive or of a stage that holds the wave of a step. Null if the study has no wave.
const google::protobuf::FieldDescriptor* WaveAt(const v1::StudySpec& at, int64_t step);

}  // namespace gyrebox::study
