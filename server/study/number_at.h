/// Reads and writes number fields by reflection.
#pragma once

#include <google/protobuf/message.h>

#include <optional>
#include <string>

namespace gyrebox::study {

/// Value of a single number or bool field of a message.
double GetNumber(const google::protobuf::Message& message, const google::protobuf::FieldDescriptor& field);

/// Sets a single number or bool field of a message; the value is in the range of the field's type.
void SetNumber(google::protobuf::Message* message, const google::protobuf::FieldDescriptor& field, double value);

/// Value at a path; absent where it or a message on the way is not set.
std::optional<double> NumberAt(const google::protobuf::Message& root, const std::string& path);

/// Sets the value at a path of a number field, and the messages on the way; lists on the way are long enough.
void SetNumberAt(google::protobuf::Message* root, const std::string& path, double value);

}  // namespace gyrebox::study
