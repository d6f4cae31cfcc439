#include "example_studies.h"

#include "study/defaults.h"
#include "study/expand.h"
#include "study/run_spec.h"

namespace gyrebox::test {

v1::StudySpec BareStudy() {
  v1::StudySpec spec;
  spec.mutable_bed()->set_bead_count(100);
  spec.mutable_drive()->mutable_sine()->set_amplitude(10);
  spec.mutable_drive()->mutable_sine()->set_frequency(1);
  spec.mutable_schedule()->set_duration(2);
  return spec;
}

v1::StudySpec AmplitudeStudy(const std::vector<double>& amplitudes, int trials) {
  v1::StudySpec spec = BareStudy();
  spec.mutable_drive()->mutable_sine()->clear_amplitude();
  v1::Axis& axis = *spec.add_axes();
  axis.set_field("drive.sine.amplitude");
  axis.mutable_values()->Assign(amplitudes.begin(), amplitudes.end());
  spec.mutable_trials()->set_count(trials);
  spec.mutable_dynamics()->set_time_step(5e-4);
  study::FillDefaults(&spec);
  return spec;
}

std::vector<store::NewRun> NewRuns(const v1::StudySpec& spec) {
  std::vector<store::NewRun> runs;
  for (const auto& plan : study::Expand(spec)) {
    const auto run = study::ToRunSpec(study::AtRun(spec, plan), plan.seeds);
    runs.push_back({plan, run.n_beads, run.n_steps});
  }
  return runs;
}

}  // namespace gyrebox::test
