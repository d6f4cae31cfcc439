#include "study/number_at.h"

#include "schema/field_path.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

double GetNumber(const Message& message, const FieldDescriptor& field) {
  const auto& reflection = *message.GetReflection();
  switch (field.cpp_type()) {
    case FieldDescriptor::CPPTYPE_INT32:
      return reflection.GetInt32(message, &field);
    case FieldDescriptor::CPPTYPE_INT64:
      return static_cast<double>(reflection.GetInt64(message, &field));
    case FieldDescriptor::CPPTYPE_UINT64:
      return static_cast<double>(reflection.GetUInt64(message, &field));
    case FieldDescriptor::CPPTYPE_BOOL:
      return reflection.GetBool(message, &field) ? 1 : 0;
    default:
      return reflection.GetDouble(message, &field);
  }
}

void SetNumber(Message* message, const FieldDescriptor& field, double value) {
  const auto& reflection = *message->GetReflection();
  switch (field.cpp_type()) {
    case FieldDescriptor::CPPTYPE_INT32:
      return reflection.SetInt32(message, &field, static_cast<int32_t>(value));
    case FieldDescriptor::CPPTYPE_INT64:
      return reflection.SetInt64(message, &field, static_cast<int64_t>(value));
    case FieldDescriptor::CPPTYPE_UINT64:
      return reflection.SetUInt64(message, &field, static_cast<uint64_t>(value));
    case FieldDescriptor::CPPTYPE_BOOL:
      return reflection.SetBool(message, &field, value != 0);
    default:
      return reflection.SetDouble(message, &field, value);
  }
}

std::optional<double> NumberAt(const Message& root, const std::string& path) {
  const Message* message = &root;
  const auto parts = schema::PartsOf(*root.GetDescriptor(), path);
  if (parts.empty()) return std::nullopt;
  for (const auto& [field, index] : parts) {
    const auto& reflection = *message->GetReflection();
    const bool there = index < 0 ? reflection.HasField(*message, field) : index < reflection.FieldSize(*message, field);
    if (!there) return std::nullopt;
    if (field == parts.back().field) break;
    message =
        index < 0 ? &reflection.GetMessage(*message, field) : &reflection.GetRepeatedMessage(*message, field, index);
  }
  return GetNumber(*message, *parts.back().field);
}

void SetNumberAt(Message* root, const std::string& path, double value) {
  const auto parts = schema::PartsOf(*root->GetDescriptor(), path);
  for (size_t i = 0; i + 1 < parts.size(); ++i) {
    const auto& [field, index] = parts[i];
    const auto& reflection = *root->GetReflection();
    root = index < 0 ? reflection.MutableMessage(root, field) : reflection.MutableRepeatedMessage(root, field, index);
  }
  SetNumber(root, *parts.back().field, value);
}

}  // namespace gyrebox::study
