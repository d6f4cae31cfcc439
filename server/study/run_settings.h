/// What may change during a run: the numbers of RunSettings, and the fields of a study that they set. The schema is the
/// one table: rule.sets says which field, whose rule gives range and unit.
#pragma once

#include <google/protobuf/descriptor.h>

#include <optional>
#include <string>
#include <vector>

#include "gyrebox/run_spec.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Adjustable numbers, in the order of the schema.
const std::vector<const google::protobuf::FieldDescriptor*>& AdjustableNumbers();

/// The kernels' parameter that an adjustable number sets.
kernels::Parameter ParameterOf(const google::protobuf::FieldDescriptor& number);

/// Path in the study of the field that an adjustable number sets while a wave is chosen; empty if the wave lacks it.
std::string PathSet(const google::protobuf::FieldDescriptor& number, const google::protobuf::FieldDescriptor& wave);

/// The field that holds the wave of a Drive or of RunSettings; null if none is chosen.
const google::protobuf::FieldDescriptor* WaveField(const google::protobuf::Message& holder);

/// Number of the wave of a drive; none if no wave is chosen, or it has no such number.
std::optional<double> WaveNumber(const v1::Drive& drive, const std::string& name);

/// Sets the wave and the numbers of a study at a point that a step, or the end of a ramp, gives. @return whether it
/// gives a number.
bool Apply(const v1::RunSettings& settings, v1::StudySpec* at);

/// The same for the kernels.
void AddChanges(const v1::RunSettings& settings, bool ramp, std::vector<kernels::Change>* changes);

}  // namespace gyrebox::study
