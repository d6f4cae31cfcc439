#include "study/estimate.h"

#include <algorithm>

#include "study/audit.h"
#include "study/expand.h"
#include "study/point_setter.h"
#include "study/run_spec.h"

namespace gyrebox::study {

/// Bytes of a sample on disk, compressed, with the rare wide samples averaged in; measured on a small study.
constexpr int64_t kBytesPerSample = 700;
/// Bytes per bead in the final state of a run, see kernels::BedState.
constexpr int64_t kBytesPerBead = 81;
/// Bytes per bead in a kept frame, without its kind, which all frames of a run share.
constexpr int64_t kBytesPerBeadOfFrame = 12;

static int64_t DiskBytes(const v1::StudySpec& at, const kernels::RunSpec& run) {
  const int64_t samples = run.n_steps / run.measure.interval_steps + 2, frame_steps = FrameStepsOf(at, run);
  const int64_t bytes = samples * kBytesPerSample + run.n_beads * kBytesPerBead;
  if (frame_steps == 0) return bytes;
  return bytes + run.n_beads * (1 + kBytesPerBeadOfFrame * (run.n_steps / frame_steps + 1));
}

v1::Estimate EstimateStudy(const v1::StudySpec& spec, double bead_steps_per_second, const kernels::Device& device,
                           const std::shared_ptr<const kernels::SavedBed>& saved, const Stop& stop) {
  v1::Estimate estimate;
  const auto add = [&](const v1::StudySpec& at, int64_t count) {
    const kernels::RunSpec run = ToRunSpec(at, at.seeds(), saved);
    estimate.set_run_count(estimate.run_count() + count);
    estimate.set_bead_count(std::max(estimate.bead_count(), run.n_beads));
    estimate.set_step_count(estimate.step_count() + count * run.n_steps);
    estimate.set_bead_steps(estimate.bead_steps() + static_cast<double>(count) * static_cast<double>(run.n_beads) *
                                                        static_cast<double>(run.n_steps));
    estimate.set_memory_bytes(estimate.memory_bytes() + count * device.BytesOf(run));
    estimate.set_disk_bytes(estimate.disk_bytes() + count * DiskBytes(at, run));
  };
  const auto points = Points(spec);
  PointSetter setter(spec);
  for (const auto& point : points) {
    if (stop.asked()) return estimate;
    add(setter.At(point), spec.trials().count());
  }
  const double without_audit = estimate.bead_steps();
  const AuditPlan audit = PlanAudit(spec, {}, stop);
  for (const size_t index : audit.points) {
    if (stop.asked()) return estimate;
    add(AsAudited(setter.At(points[index])), audit.trials);
  }
  estimate.set_audited_point_count(static_cast<int32_t>(audit.points.size()));
  estimate.set_audit_run_count(static_cast<int64_t>(audit.points.size()) * audit.trials);
  estimate.set_audit_cost(audit.cost);
  estimate.set_audit_note(audit.why_none);
  estimate.set_duration_seconds(without_audit * (1 + audit.cost) / bead_steps_per_second);
  return estimate;
}

}  // namespace gyrebox::study
