/// Checks what the stages of a study change.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// A change that cannot be made.
struct BadChange {
  std::string path;         ///< such as schedule.stages[1].step.amplitude
  std::string description;  ///< what is wrong and what would be right
};

/// All changes of stages, and of what was steered, that cannot be made: values out of the range of the field that they
/// set, and numbers that the wave of that time does not have.
std::vector<BadChange> BadChanges(const v1::StudySpec& at);

/// Those of one change alone, by the names of its fields. @param wave the field that holds the wave of its step.
std::vector<BadChange> BadChangesIn(const v1::StudySpec& at, const v1::Adjustable& change,
                                    const google::protobuf::FieldDescriptor& wave);

/// Path in the study of the field that a change sets, such as drive.sine.amplitude; empty where it sets none, or the
/// wave has no such number. @param wave the field that holds the wave.
std::string PathSet(const google::protobuf::FieldDescriptor& change, const google::protobuf::FieldDescriptor& wave);

/// The field of a drive, or of a stage, that holds the wave of a step. Null where the study has no wave.
const google::protobuf::FieldDescriptor* WaveAt(const v1::StudySpec& at, int64_t step);

}  // namespace gyrebox::study
