/// Converts waiting runs to kernel input.
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

/// Where a run resumes.
struct Resume {
  kernels::BedState state;
  int64_t last_sample_step = -1;  ///< of the stored series
};

/// A run to initialise.
struct PackedRun {
  int64_t number = 0;
  kernels::RunSpec spec;
  int64_t frame_steps = 0;       ///< steps between two kept frames; 0 keeps none
  std::optional<Resume> resume;  ///< none if the run starts from step 0
  std::vector<v1::Fault> recovered_faults;
  std::string warning;
};

/// Run number, parsed from its name.
int64_t NumberOf(const v1::Run& run);

/// Capacity available for new runs.
struct Room {
  int64_t bytes = 0;  ///< of device memory
  int64_t beads = 0;  ///< left to the owner; 0 for no limit
};

/// The first waiting runs, as many as fit into the room, but at least one.
/// @param saved beads of a saved start, or null.
absl::StatusOr<std::vector<PackedRun>> Pack(store::Store& store, const store::QueuedRuns& queued,
                                            const kernels::Device& device, const Room& room,
                                            const std::shared_ptr<const kernels::SavedBed>& saved);

}  // namespace gyrebox::executor
