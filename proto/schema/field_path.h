/// Paths of fields in the schema, such as drive.sine.amplitude.
#pragma once

#include <google/protobuf/descriptor.h>

#include <string>
#include <vector>

namespace gyrebox::schema {

/// The field at a dotted path below a message, or null where there is none. Lists are not entered.
const google::protobuf::FieldDescriptor* FindField(const google::protobuf::Descriptor& root, const std::string& path);

/// The fields on the way to a dotted path, the last one included; empty where the path leads nowhere.
std::vector<const google::protobuf::FieldDescriptor*> FieldsTo(const google::protobuf::Descriptor& root,
                                                               const std::string& path);

/// Paths of all single number fields below a message that may differ between the runs of a study.
std::vector<std::string> VaryingNumberPaths(const google::protobuf::Descriptor& root);

/// Whether a field holds one number: an integer or a double, not a bool and not a list.
bool IsNumber(const google::protobuf::FieldDescriptor& field);

/// Whether a field holds one whole number.
bool IsWholeNumber(const google::protobuf::FieldDescriptor& field);

}  // namespace gyrebox::schema
