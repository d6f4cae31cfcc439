#include "study/steering.h"

#include <algorithm>
#include <map>
#include <string>

#include "schema/nearest_name.h"
#include "study/check_changes.h"
#include "study/expand.h"
#include "study/number_at.h"
#include "study/schedule.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;

static void Add(const std::string& field, const std::string& description, std::vector<v1::FieldViolation>* faults) {
  v1::FieldViolation& fault = faults->emplace_back();
  fault.set_field(field);
  fault.set_description(description);
}

/// What may change at a step, by the path that sets it.
static std::map<std::string, const FieldDescriptor*> Changeable(const v1::StudySpec& at, int64_t step) {
  std::map<std::string, const FieldDescriptor*> fields;
  const FieldDescriptor* wave = WaveAt(at, step);
  for (int i = 0; wave != nullptr && i < v1::Adjustable::descriptor()->field_count(); ++i) {
    const FieldDescriptor& change = *v1::Adjustable::descriptor()->field(i);
    if (const std::string path = PathSet(change, *wave); !path.empty()) fields[path] = &change;
  }
  return fields;
}

AskedChange ToSteeredChange(const v1::StudySpec& at, int64_t step, int64_t ramp_steps,
                            const google::protobuf::RepeatedPtrField<v1::FieldChange>& asked) {
  AskedChange result;
  result.change.set_step(step);
  result.change.set_ramp_steps(ramp_steps);
  v1::Adjustable& change = *result.change.mutable_change();
  const auto fields = Changeable(at, step);
  std::vector<std::string> paths;
  for (const auto& [path, field] : fields) paths.push_back(path);
  for (const v1::FieldChange& one : asked) {
    const auto found = fields.find(one.field());
    if (found == fields.end()) {
      Add(one.field(), "cannot change in this run at that time" + schema::DidYouMean(one.field(), paths),
          &result.faults);
    } else if (change.GetReflection()->HasField(change, found->second)) {
      Add(one.field(), "is there twice; give each field once", &result.faults);
    } else {
      SetNumber(&change, *found->second, one.value());
    }
  }
  // What holds for changes of stages holds for these.
  v1::StudySpec after = at;
  v1::Steering& steering = *after.mutable_schedule()->mutable_steering();
  const std::string prefix = "schedule.steering.changes[" + std::to_string(steering.changes_size()) + "].change.";
  *steering.add_changes() = result.change;
  for (const BadChange& bad : BadChanges(after)) {
    if (!bad.path.starts_with(prefix)) continue;
    const auto set = std::find_if(fields.begin(), fields.end(),
                                  [&](const auto& field) { return prefix + field.second->name() == bad.path; });
    Add(set == fields.end() ? bad.path : set->first, bad.description, &result.faults);
  }
  const double frequency = HighestSteeredFrequency(after), time_step = at.dynamics().time_step();
  if (!result.faults.empty() || frequency <= HighestSteeredFrequency(at) || !IsTooFast(frequency, time_step)) {
    return result;
  }
  Add(asked[0].field(), "its highest frequency of " + TooFastText(frequency, time_step), &result.faults);
  return result;
}

v1::Steering ToSteering(const std::vector<v1::Adjustment>& journal) {
  v1::Steering steering;
  for (const v1::Adjustment& entry : journal) {
    if (entry.kind() != v1::Adjustment::KIND_CHANGE) continue;
    v1::SteeredChange& change = *steering.add_changes();
    change.set_step(entry.step());
    change.set_ramp_steps(entry.ramp_steps());
    *change.mutable_change() = entry.change();
  }
  return steering;
}

v1::StudySpec SpecOf(const v1::StudySpec& spec, const v1::Run& run, const std::vector<v1::Adjustment>& journal) {
  v1::StudySpec at = AtPoint(spec, {run.axis_values().begin(), run.axis_values().end()});
  if (run.audit()) at = WithHalfStep(std::move(at));
  v1::Steering& steering = *at.mutable_schedule()->mutable_steering();
  steering.MergeFrom(ToSteering(journal));
  steering.set_total_steps(run.total_steps());
  return at;
}

}  // namespace gyrebox::study
