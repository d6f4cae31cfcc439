/// What the recorder writes of a run.
#pragma once

#include <optional>

#include "gyrebox/bed_state.h"
#include "store/store.h"

namespace gyrebox::executor {

/// A state as the device returned it. Packing is slow, so the recorder's thread does it.
struct BedNow {
  kernels::BedState state;
  double side_x = 0, side_y = 0;  ///< sigma
  double time_step = 0;           ///< tau
};

/// Packs a state for the store.
store::BedBytes ToBytes(const BedNow& bed);

/// Progress of a run since its last record.
struct RunRecord {
  store::RunUpdate update;  ///< without states
  std::optional<BedNow> checkpoint, end_state;
};

/// The update, with its states packed.
store::RunUpdate ToUpdate(const RunRecord& record);

}  // namespace gyrebox::executor
