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
  int64_t frame_steps = 0;       ///< from one frame that is kept to the next; 0 where none are
  std::optional<Resume> resume;  ///< none where it starts anew
  std::vector<v1::Fault> faults_passed;
  std::string alarm;
};

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
