/// Waiting runs as the kernels take them.
#pragma once

#include <absl/status/statusor.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gyrebox/bed_state.h"
#include "gyrebox/device.h"
#include "store/store.h"

namespace gyrebox::executor {

/// Where a run goes on from.
struct Resume {
  kernels::BedState state;
  int64_t last_sample_step = -1;  ///< of its series so far
};

/// A run to lay out.
struct PackedRun {
  int64_t number = 0;
  kernels::RunSpec spec;
  std::optional<Resume> resume;  ///< none where it starts anew
  std::vector<v1::Fault> faults_passed;
  std::string alarm;
};

/// The study at the point of a run, with all that was steered so far, and the run's present end.
v1::StudySpec SpecOf(const v1::StudySpec& spec, const v1::Run& run, const std::vector<v1::Adjustment>& journal);

/// Number of a run, from its name.
int64_t NumberOf(const v1::Run& run);

/// What is free for runs to start.
struct Room {
  int64_t bytes = 0;  ///< of device memory
  int64_t beads = 0;  ///< of its owner; 0 for no limit
};

/// The first of the waiting runs that fit into the room; at least one.
/// @param saved the beads of a saved start, or null.
absl::StatusOr<std::vector<PackedRun>> Pack(store::Store& store, const store::QueuedRuns& queued,
                                            const kernels::Device& device, const Room& room,
                                            const std::shared_ptr<const kernels::SavedBed>& saved);

}  // namespace gyrebox::executor
