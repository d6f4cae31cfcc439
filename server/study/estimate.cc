#include "study/estimate.h"

#include <algorithm>

#include "study/expand.h"
#include "study/point_setter.h"
#include "study/run_spec.h"

namespace gyrebox::study {

/// Bytes that a sample takes on disk, compressed, the rare wide ones spread over all; measured on a small study.
constexpr int64_t kBytesPerSample = 700;
/// Bytes of a bead in the state that a run leaves, see kernels::BedState.
constexpr int64_t kBytesPerBead = 81;
/// Bytes of a bead in a frame that is kept, those of its kind aside, which all frames of a run share.
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
  const int64_t trials = spec.trials().count();
  PointSetter setter(spec);
  for (const auto& point : Points(spec)) {
    if (stop.asked()) break;
    const v1::StudySpec& at = setter.At(point);
    const kernels::RunSpec run = ToRunSpec(at, at.seeds(), saved);
    estimate.set_run_count(estimate.run_count() + trials);
    estimate.set_bead_count(std::max(estimate.bead_count(), run.n_beads));
    estimate.set_step_count(estimate.step_count() + trials * run.n_steps);
    estimate.set_bead_steps(estimate.bead_steps() + static_cast<double>(trials) * static_cast<double>(run.n_beads) *
                                                        static_cast<double>(run.n_steps));
    estimate.set_memory_bytes(estimate.memory_bytes() + trials * device.BytesOf(run));
    estimate.set_disk_bytes(estimate.disk_bytes() + trials * DiskBytes(at, run));
  }
  estimate.set_duration_seconds(estimate.bead_steps() / bead_steps_per_second);
  return estimate;
}

}  // namespace gyrebox::study
