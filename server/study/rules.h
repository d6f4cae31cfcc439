/// The rules that the schema keeps beside its fields: defaults, ranges, units.
#pragma once

#include <google/protobuf/descriptor.h>

#include <string>

#include "gyrebox/v1/rule.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::study {

/// Rule of a field; all empty where it has none.
const v1::FieldRule& RuleOf(const google::protobuf::FieldDescriptor& field);

/// What is wrong with a value by the rule of its field, and what would be right; empty where nothing is wrong.
std::string Fault(double value, const google::protobuf::FieldDescriptor& field);

/// What a field may hold, such as "a number over 0 and at most 10000 cycles/tau".
std::string Wanted(const google::protobuf::FieldDescriptor& field);

/// Whether a field of a study is the same in all runs, or lies in a message that is: no axis may name it.
bool IsFixed(const std::string& path);

/// Unit of the field at a path, as this study uses it: that of a drive's amplitude depends on what is imposed.
std::string UnitAt(const v1::StudySpec& spec, const std::string& path);

}  // namespace gyrebox::study
