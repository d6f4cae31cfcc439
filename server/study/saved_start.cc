#include "study/saved_start.h"

#include "schema/number_text.h"
#include "study/number_at.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;
using google::protobuf::Reflection;

static const FieldDescriptor* DensityOf(const v1::Bed& bed) {
  return bed.GetReflection()->GetOneofFieldDescriptor(bed, bed.GetDescriptor()->FindOneofByName("density"));
}

void TakeBed(const SavedRun& saved, v1::StudySpec* spec) {
  v1::Bed& bed = *spec->mutable_bed();
  const Reflection& reflection = *bed.GetReflection();
  const bool has_density = DensityOf(bed) != nullptr;
  for (int i = 0; i < bed.GetDescriptor()->field_count(); ++i) {
    const FieldDescriptor& field = *bed.GetDescriptor()->field(i);
    const bool given = field.real_containing_oneof() ? has_density : reflection.HasField(bed, &field);
    if (!given && reflection.HasField(saved.bed, &field)) SetNumber(&bed, field, GetNumber(saved.bed, field));
  }
}

/// What the bed of a run has for a field, as text: its value, or the other density if that one is set instead.
static std::string InItsPlace(const v1::Bed& bed, const FieldDescriptor& field) {
  const bool has = bed.GetReflection()->HasField(bed, &field);
  const FieldDescriptor* other = has ? &field : (field.real_containing_oneof() ? DensityOf(bed) : nullptr);
  if (other == nullptr) return "none";
  return (has ? "" : "a " + other->name() + " of ") + schema::NumberText(GetNumber(bed, *other));
}

static void CheckBed(const v1::Bed& bed, const v1::Bed& saved, const std::string& run, Violations* violations) {
  const Reflection& reflection = *bed.GetReflection();
  for (int i = 0; i < bed.GetDescriptor()->field_count(); ++i) {
    const FieldDescriptor& field = *bed.GetDescriptor()->field(i);
    if (!reflection.HasField(bed, &field)) continue;
    const double given = GetNumber(bed, field);
    if (reflection.HasField(saved, &field) && GetNumber(saved, field) == given) continue;
    violations->Add("bed." + field.name(), schema::NumberText(given) + ", but the bed of " + run + " has " +
                                               InItsPlace(saved, field) + "; give that, or leave it out");
  }
}

void CheckSavedStart(const v1::StudySpec& spec, const FoundRun& saved, Violations* violations) {
  const std::string& run = spec.start().saved().run();
  for (int i = 0; i < spec.axes_size(); ++i) {
    const std::string& field = spec.axes(i).field();
    if (!field.starts_with("bed.")) continue;
    violations->Add("axes[" + std::to_string(i) + "].field",
                    field + " is that of the run to start from; no axis may vary it");
  }
  if (run.empty()) return;  // reported by the field's own rule
  if (!saved.ok()) {
    violations->Add("start.saved.run", std::string(saved.status().message()));
    return;
  }
  CheckBed(spec.bed(), saved->bed, run, violations);
}

}  // namespace gyrebox::study
