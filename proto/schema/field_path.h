/// Paths of fields in the schema, such as drive.sine.amplitude or schedule.stages[1].step.amplitude.
#pragma once

#include <google/protobuf/descriptor.h>

#include <string>
#include <vector>

namespace gyrebox::schema {

/// One part of a path: a field and, for a list, the index of one of its messages.
struct PathPart {
  const google::protobuf::FieldDescriptor* field = nullptr;
  int index = -1;  ///< from 0; -1 if the field is not a list
};

/// The field at a dotted path below a message, or null if there is none. A path enters a list of messages by an index
/// from 0; whether the list is long enough is not checked.
const google::protobuf::FieldDescriptor* FindField(const google::protobuf::Descriptor& root, const std::string& path);

/// The parts of a dotted path, the last one included; empty if the path names no field.
std::vector<PathPart> PartsOf(const google::protobuf::Descriptor& root, const std::string& path);

/// Paths of all single number fields below a message that may differ between the runs of a study; for a list, those of
/// its first message.
std::vector<std::string> VaryingNumberPaths(const google::protobuf::Descriptor& root);

/// Whether a field holds one number: an integer or a double, not a bool and not a list.
bool IsNumber(const google::protobuf::FieldDescriptor& field);

/// Whether a field holds one whole number.
bool IsWholeNumber(const google::protobuf::FieldDescriptor& field);

}  // namespace gyrebox::schema
