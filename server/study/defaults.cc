#include "study/defaults.h"

#include "study/number_at.h"
#include "study/rules.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;
using google::protobuf::OneofDescriptor;

static void MakeDefaultChoices(Message* message) {
  const auto& descriptor = *message->GetDescriptor();
  const auto& reflection = *message->GetReflection();
  for (int i = 0; i < descriptor.real_oneof_decl_count(); ++i) {
    const OneofDescriptor& choice = *descriptor.oneof_decl(i);
    if (reflection.HasOneof(*message, &choice)) continue;
    const FieldDescriptor* member = descriptor.FindFieldByName(choice.options().GetExtension(v1::default_choice));
    if (member != nullptr) reflection.MutableMessage(message, member);
  }
}

static void Fill(Message* message) {
  MakeDefaultChoices(message);
  const auto& descriptor = *message->GetDescriptor();
  const auto& reflection = *message->GetReflection();
  for (int i = 0; i < descriptor.field_count(); ++i) {
    const FieldDescriptor* field = descriptor.field(i);
    const bool is_message = field->message_type() != nullptr;
    if (field->is_repeated()) {
      for (int k = 0; is_message && k < reflection.FieldSize(*message, field); ++k) {
        Fill(reflection.MutableRepeatedMessage(message, field, k));
      }
    } else if (is_message) {
      const bool not_chosen = field->real_containing_oneof() && !reflection.HasField(*message, field);
      if (!not_chosen) Fill(reflection.MutableMessage(message, field));
    } else if (field->has_presence() && !reflection.HasField(*message, field) && RuleOf(*field).has_default_value()) {
      SetNumber(message, *field, RuleOf(*field).default_value());
    }
  }
}

void FillDefaults(v1::StudySpec* spec) { Fill(spec); }

}  // namespace gyrebox::study
