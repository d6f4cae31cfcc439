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
    default:
      return "adjusted";
  }
}

std::string NumbersText(const google::protobuf::Message& message, const char* joint) {
  std::string text;
  for (int i = 0; i < message.GetDescriptor()->field_count(); ++i) {
    const FieldDescriptor* field = message.GetDescriptor()->field(i);
    if (field->is_repeated() || field->cpp_type() != FieldDescriptor::CPPTYPE_DOUBLE) continue;
    if (!message.GetReflection()->HasField(message, field)) continue;
    text += (text.empty() ? "" : ", ") + field->name() + joint +
            NumberText(message.GetReflection()->GetDouble(message, field));
  }
  return text;
}

}  // namespace gyrebox::schema
