#include "api/unknown_fields.h"

#include <google/protobuf/unknown_field_set.h>

#include <set>
#include <string>
#include <vector>

#include "status/status.h"

namespace gyrebox::api {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;
using google::protobuf::UnknownFieldSet;

/// Max numbers, and max messages, that an error names.
constexpr size_t kMaxNamed = 10;

static std::string NumbersText(const UnknownFieldSet& fields) {
  std::set<int> numbers;
  for (int i = 0; i < fields.field_count() && numbers.size() < kMaxNamed; ++i) numbers.insert(fields.field(i).number());
  std::string text;
  for (const int number : numbers) text += (text.empty() ? "" : ", ") + std::to_string(number);
  return text;
}

static void Collect(const Message& message, const std::string& path, std::vector<v1::FieldViolation>* violations) {
  const auto& reflection = *message.GetReflection();
  if (const UnknownFieldSet& fields = reflection.GetUnknownFields(message); !fields.empty()) {
    v1::FieldViolation& violation = violations->emplace_back();
    violation.set_field(path.empty() ? message.GetDescriptor()->name() : path);
    violation.set_description("holds fields of numbers that this server does not know: " + NumbersText(fields) +
                              "; leave them out, or call a newer server");
  }
  std::vector<const FieldDescriptor*> given;
  reflection.ListFields(message, &given);
  for (const FieldDescriptor* field : given) {
    if (field->message_type() == nullptr) continue;
    const std::string inner = (path.empty() ? "" : path + ".") + field->name();
    if (!field->is_repeated()) Collect(reflection.GetMessage(message, field), inner, violations);
    for (int i = 0; field->is_repeated() && i < reflection.FieldSize(message, field); ++i) {
      if (violations->size() >= kMaxNamed) return;
      Collect(reflection.GetRepeatedMessage(message, field, i), inner + "[" + std::to_string(i) + "]", violations);
    }
  }
}

absl::Status CheckAllKnown(const Message& request) {
  std::vector<v1::FieldViolation> violations;
  Collect(request, "", &violations);
  return violations.empty() ? absl::OkStatus() : InvalidRequest(violations);
}

}  // namespace gyrebox::api
