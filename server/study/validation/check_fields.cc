#include "study/validation/check_fields.h"

#include "schema/number_text.h"
#include "schema/visible_text.h"
#include "study/number_at.h"
#include "study/plain_text.h"
#include "study/rules.h"

namespace gyrebox::study {

using google::protobuf::Descriptor;
using google::protobuf::FieldDescriptor;
using google::protobuf::Message;
using google::protobuf::OneofDescriptor;

class FieldChecker {
 public:
  FieldChecker(const v1::StudySpec& spec, Violations* violations) : violations_(violations) {
    for (const v1::Axis& axis : spec.axes()) {
      if (!IsFixed(axis.field())) varied_.insert(axis.field());
    }
  }

  void Check(const Message& message, const std::string& prefix) {
    const Descriptor& descriptor = *message.GetDescriptor();
    for (int i = 0; i < descriptor.real_oneof_decl_count(); ++i) {
      CheckChoice(message, *descriptor.oneof_decl(i), prefix);
    }
    for (int i = 0; i < descriptor.field_count(); ++i) {
      const FieldDescriptor& field = *descriptor.field(i);
      const std::string path = prefix + field.name();
      if (field.message_type() != nullptr) {
        CheckMessages(message, field, path);
      } else if (field.cpp_type() == FieldDescriptor::CPPTYPE_STRING) {
        CheckText(message, field, path);
      } else if (!field.is_repeated()) {
        CheckNumber(message, field, path);
      }
    }
  }

 private:
  void CheckChoice(const Message& message, const OneofDescriptor& choice, const std::string& prefix) {
    if (choice.options().GetExtension(v1::default_choice) == "none") return;
    if (message.GetReflection()->HasOneof(message, &choice)) return;
    std::string members;
    for (int i = 0; i < choice.field_count(); ++i) members += (i ? ", " : "") + prefix + choice.field(i)->name();
    violations_->Add(prefix + choice.name(), "is missing; give one of " + members);
  }

  void CheckMessages(const Message& message, const FieldDescriptor& field, const std::string& path) {
    const auto& reflection = *message.GetReflection();
    if (!field.is_repeated()) {
      if (reflection.HasField(message, &field)) Check(reflection.GetMessage(message, &field), path + ".");
      return;
    }
    for (int i = 0; i < reflection.FieldSize(message, &field); ++i) {
      Check(reflection.GetRepeatedMessage(message, &field, i), path + "[" + std::to_string(i) + "].");
    }
  }

  void CheckText(const Message& message, const FieldDescriptor& field, const std::string& path) {
    const std::string text = message.GetReflection()->GetString(message, &field);
    const v1::FieldRule& rule = RuleOf(field);
    if (rule.required() && text.empty()) violations_->Add(path, "is missing; give a text");
    if (schema::HasHidden(text))
      violations_->Add(
          path, "holds a control character; give one line of plain text, without those of the direction of text");
    if (rule.has_at_most() && static_cast<double>(CharacterCount(text)) > rule.at_most()) {
      violations_->Add(path, std::to_string(CharacterCount(text)) + " characters are too many; at most " +
                                 schema::NumberText(rule.at_most()));
    }
  }

  void CheckNumber(const Message& message, const FieldDescriptor& field, const std::string& path) {
    if (field.has_presence() && !message.GetReflection()->HasField(message, &field)) {
      if (RuleOf(field).required() && !varied_.contains(path)) {
        violations_->Add(path, "is missing; give " + Wanted(field));
      }
      return;
    }
    if (field.cpp_type() == FieldDescriptor::CPPTYPE_BOOL) return;
    const std::string fault = Fault(GetNumber(message, field), field);
    if (!fault.empty()) violations_->Add(path, fault);
  }

  Violations* violations_;
  std::set<std::string> varied_;
};

void CheckFields(const v1::StudySpec& spec, Violations* violations) { FieldChecker(spec, violations).Check(spec, ""); }

}  // namespace gyrebox::study
