/// Reads the field rules of the schema: defaults, ranges, units.
#pragma once

#include <google/protobuf/descriptor.h>

#include <string>

#include "gyrebox/v1/rule.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Rule of a field; empty if it has none.
const v1::FieldRule& RuleOf(const google::protobuf::FieldDescriptor& field);

/// How a value violates the rule of its field, and what would be valid; empty if it is valid.
std::string Fault(double value, const google::protobuf::FieldDescriptor& field);

/// Allowed values of a field, such as "a number over 0 and at most 10000 cycles/tau".
std::string Wanted(const google::protobuf::FieldDescriptor& field);

/// Whether a field of a study, or a message that contains it, is the same in all runs, so that no axis may vary it.
bool IsFixed(const std::string& path);

/// Unit of the field at a path in this study; the unit of a drive amplitude depends on what the drive imposes.
std::string UnitAt(const v1::StudySpec& spec, const std::string& path);

}  // namespace gyrebox::study
