#include "study/steering.h"

#include <set>

#include "study/expand.h"

namespace gyrebox::study {

v1::ReplayedAdjustment ToReplayed(const v1::Adjustment& entry) {
  v1::ReplayedAdjustment change;
  change.set_step(entry.step());
  change.set_ramp_steps(entry.ramp_steps());
  *change.mutable_change() = entry.change();
  return change;
}

v1::Steering ToSteering(const std::vector<v1::Adjustment>& journal) {
  std::set<int64_t> withdrawn;
  for (const v1::Adjustment& entry : journal) withdrawn.insert(entry.withdrawn_entry());
  v1::Steering steering;
  int64_t number = 0;
  for (const v1::Adjustment& entry : journal) {
    ++number;
    if (entry.kind() != v1::Adjustment::KIND_CHANGE || withdrawn.contains(number)) continue;
    *steering.add_adjustments() = ToReplayed(entry);
  }
  return steering;
}

v1::StudySpec SpecOf(const v1::StudySpec& spec, const v1::Run& run, const std::vector<v1::Adjustment>& journal) {
  PlannedRun plan;
  plan.axis_values.assign(run.axis_values().begin(), run.axis_values().end());
  plan.audit = run.audit();
  v1::StudySpec at = AtRun(spec, plan);
  v1::Steering& steering = *at.mutable_schedule()->mutable_steering();
  steering.MergeFrom(ToSteering(journal));
  steering.set_total_steps(run.total_steps());
  return at;
}

}  // namespace gyrebox::study
