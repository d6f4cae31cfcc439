#include "study/steering.h"

#include "study/expand.h"

namespace gyrebox::study {

v1::Steering ToSteering(const std::vector<v1::Adjustment>& journal) {
  v1::Steering steering;
  for (const v1::Adjustment& entry : journal) {
    if (entry.kind() != v1::Adjustment::KIND_CHANGE) continue;
    v1::ReplayedAdjustment& change = *steering.add_adjustments();
    change.set_step(entry.step());
    change.set_ramp_steps(entry.ramp_steps());
    *change.mutable_change() = entry.change();
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
