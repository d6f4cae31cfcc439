#include "schema/adjustment_text.h"

#include <google/protobuf/descriptor.h>

#include "schema/number_text.h"

namespace gyrebox::schema {

using google::protobuf::FieldDescriptor;

const char* Participle(v1::Adjustment::Kind kind) {
  switch (kind) {
    case v1::Adjustment::KIND_PAUSE:
      return "paused";
    case v1::Adjustment::KIND_RESUME:
      return "resumed";
    case v1::Adjustment::KIND_FINISH:
      return "finished";
    case v1::Adjustment::KIND_EXTEND:
      return "extended";
    case v1::Adjustment::KIND_WITHDRAW:
      return "withdrawn";
    default:
      return "adjusted";
  }
}

/// The number of a field as text; empty if it is not given.
static std::string TextOf(const google::protobuf::Message& message, const FieldDescriptor* field) {
  if (!message.GetReflection()->HasField(message, field)) return "";
  return NumberText(message.GetReflection()->GetDouble(message, field));
}

/// The numbers that a message gives, each by its name, a joint and `text(field)`.
template <class Text>
static std::string ListNumbers(const google::protobuf::Message& message, const char* joint, const Text& text) {
  std::string list;
  for (int i = 0; i < message.GetDescriptor()->field_count(); ++i) {
    const FieldDescriptor* field = message.GetDescriptor()->field(i);
    if (field->is_repeated() || field->cpp_type() != FieldDescriptor::CPPTYPE_DOUBLE) continue;
    if (!message.GetReflection()->HasField(message, field)) continue;
    list += (list.empty() ? "" : ", ") + field->name() + joint + text(field);
  }
  return list;
}

std::string NumbersText(const google::protobuf::Message& message, const char* joint) {
  return ListNumbers(message, joint, [&](const FieldDescriptor* field) { return TextOf(message, field); });
}

std::string ChangesText(const google::protobuf::Message& before, const google::protobuf::Message& change) {
  return ListNumbers(change, " ", [&](const FieldDescriptor* field) {
    const std::string old = TextOf(before, field);
    return (old.empty() ? "" : old + " -> ") + TextOf(change, field);
  });
}

}  // namespace gyrebox::schema
