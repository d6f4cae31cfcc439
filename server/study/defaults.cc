#include "study/defaults.h"

#include "study/audit.h"
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
    if (member == nullptr) continue;
    if (member->message_type() != nullptr) {
      reflection.MutableMessage(message, member);
    } else {
      SetNumber(message, *member, RuleOf(*member).default_value());
    }
  }
}

static void Fill(Message* message) {
  MakeDefaultChoices(message);
  const auto& descriptor = *message->GetDescriptor();
  const auto& reflection = *message->GetReflection();
  for (int i = 0; i < descriptor.field_count(); ++i) {
    const FieldDescriptor* field = descriptor.field(i);
    const bool is_message = field->message_type() != nullptr;
    if (field->real_containing_oneof() && !reflection.HasField(*message, field)) continue;  // not chosen
    if (field->is_repeated()) {
      for (int k = 0; is_message && k < reflection.FieldSize(*message, field); ++k) {
        Fill(reflection.MutableRepeatedMessage(message, field, k));
      }
    } else if (is_message) {
      Fill(reflection.MutableMessage(message, field));
    } else if (field->has_presence() && !reflection.HasField(*message, field) && RuleOf(*field).has_default_value()) {
      SetNumber(message, *field, RuleOf(*field).default_value());
    }
  }
}

/// Soft beads may overlap, so no pair counts as too close, at the start or later.
static void AllowAnyPair(v1::StudySpec* spec) {
  if (!spec->health().has_closest_pair()) spec->mutable_health()->set_closest_pair(0);
  v1::Start& start = *spec->mutable_start();
  const bool random = start.has_random() || start.arrangement_case() == v1::Start::ARRANGEMENT_NOT_SET;
  if (random && !start.random().has_closest_pair()) start.mutable_random()->set_closest_pair(0);
}

void FillConverged(v1::Converged* converged) { Fill(converged); }

void FillDefaults(v1::StudySpec* spec, const FoundRun* saved) {
  if (spec->forces().has_soft()) AllowAnyPair(spec);
  if (saved != nullptr && saved->ok()) TakeBed(**saved, spec);
  v1::Start& start = *spec->mutable_start();
  if (start.has_saved() && start.labels_case() == v1::Start::LABELS_NOT_SET) start.mutable_kept();
  Fill(spec);
  if (!spec->audit().has_max_cost()) spec->mutable_audit()->set_max_cost(DefaultAuditCost(*spec));
}

}  // namespace gyrebox::study
