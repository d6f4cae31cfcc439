/// Arrays of a bed on the host, in memory order, and their transfer to and from a device.
#pragma once

#include <vector>

#include "cuda/bed_data.h"
#include "cuda/driver.h"
#include "gyrebox/bed_state.h"
#include "start/start.h"

namespace gyrebox::kernels::cuda {

/// One half of the doubled arrays; see BedMemory.
struct BedSlots {
  std::vector<PositionVelocity> beads;
  std::vector<float> spin;
  std::vector<std::uint32_t> angle, tag;
  std::vector<Remainder> remainder;
  std::vector<float> motion_x, motion_y, motion_spin;  ///< empty unless stored separately from `beads`
  std::vector<ThermalMotion> thermal;                  ///< likewise
  std::vector<Pair32> built, start;
  std::vector<ImageCounts> turns;
};

/// The beads at the start of a run, in the order of their ids. @param apart motions are stored separately.
BedSlots SlotsOfStart(const StartState& start, bool apart);
/// The beads of a state, in the order of their ids, at the positions where its lists were built.
/// @param start positions at step 0, by id.
BedSlots SlotsOfState(const BedState& state, const std::vector<Pair32>& start, bool apart);
/// Writes the arrays of beads of a state.
void PutSlots(const BedSlots& slots, BedState& state);

/// Fetches the half `half` of the doubled arrays. Waits.
BedSlots FetchSlots(Driver& driver, const BedPlan& plan, std::uint32_t half);
/// Uploads to the first half. Waits, so that the caller may free the arrays.
void SendSlots(Driver& driver, const BedPlan& plan, const BedSlots& slots);

}  // namespace gyrebox::kernels::cuda
