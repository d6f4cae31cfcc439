/// Reads and writes number fields by reflection.
#pragma once

#include <google/protobuf/message.h>

#include <optional>
#include <string>

namespace gyrebox::study {

/// Value of a single number or bool field of a message.
double GetNumber(const google::protobuf::Message& message, const google::protobuf::FieldDescriptor& field);

/// Sets a single number or bool field of a message. The value must be in the range of the field type.
void SetNumber(google::protobuf::Message* message, const google::protobuf::FieldDescriptor& field, double value);

/// Value at a path; absent if it or a message on the path is not set.
std::optional<double> NumberAt(const google::protobuf::Message& root, const std::string& path);

/// Sets the number field at a path, and creates the messages on the path. Lists on the path must be long enough.
void SetNumberAt(google::protobuf::Message* root, const std::string& path, double value);

}  // namespace gyrebox::study
