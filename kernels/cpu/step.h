/// One time step of a range of beads, and the neighbour lists it reads: compiled once for each instruction set.
#pragma once

#include "cpu/record.h"
#include "gyrebox/run_spec.h"
#include "model/force.h"
#include "model/friction.h"

namespace gyrebox::kernels {

/// Partners within the reach of a bead, by groups of `width` beads that follow each other in memory: partner k of lane
/// l of group g is partners[(g * capacity + k) * width + l]. Rows past a bead's own count are never read as partners.
struct PartnerList {
  const std::uint32_t* partners = nullptr;
  const std::uint32_t* counts = nullptr;  ///< (padded beads)
  std::int64_t capacity = 0;              ///< rows per group
};

/// Everything that a step reads and writes. Plain numbers and borrowed memory; nothing is allocated in a step.
struct StepInput {
  std::int64_t n_beads = 0;
  const BeadRecord* in = nullptr;       ///< (padded beads)
  BeadRecord* out = nullptr;            ///< (padded beads), not overlapping `in`
  const float* remainder_in = nullptr;  ///< (2 * padded beads): x of all, then y of all; quanta
  float* remainder_out = nullptr;
  std::int64_t n_padded = 0;
  const std::uint32_t* built_x = nullptr;  ///< (padded beads) places when the list was built
  const std::uint32_t* built_y = nullptr;
  PartnerList list;

  double side_x = 0, side_y = 0;  ///< sigma
  ForceSpec force;
  FrictionSpec friction;
  DragSpec drag;
  double temperature = 0;  ///< epsilon
  double time_step = 0;    ///< tau
  StepKeys keys{};
  bool rate_imposed = false;
  float next_rate = 0;  ///< rad/tau, imposed on spinners in the step after this one
  float torque = 0;     ///< epsilon, on spinners in this step
};

/// What a step finds out about the health of its beads.
struct StepHealth {
  float closest_squared = 1e30f;    ///< sigma^2, of all pairs in reach, before the move
  float largest_move_squared = 0;   ///< sigma^2
  float largest_drift_squared = 0;  ///< sigma^2, since the list was built, after the move
};

/// How far a motion is from balancing the rows, bead by bead.
struct ResidualInput {
  StepInput step;                     ///< `in` holds the places of the step and the motion to be judged
  float* residual_squared = nullptr;  ///< (padded beads) |b - A V|^2 of the bead's rows
  float* right_squared = nullptr;     ///< (padded beads) |b|^2 of the bead's rows
};

/// Reach of a list that is being built.
struct ListInput {
  std::int64_t n_beads = 0;
  const std::uint32_t* x = nullptr;  ///< (padded beads), in memory order
  const std::uint32_t* y = nullptr;
  double side_x = 0, side_y = 0, reach = 0;  ///< sigma
  const std::uint32_t* cell_start = nullptr;
  std::uint32_t* partners = nullptr;
  std::uint32_t* counts = nullptr;
  std::int64_t capacity = 0;
};

struct CellGrid;

/// The code for one instruction set.
struct StepCode {
  const char* name;
  int width;  ///< lanes: beads side by side
  /// Steps the groups [first, last).
  StepHealth (*step)(const StepInput& input, std::int64_t first_group, std::int64_t last_group);
  /// Judges the motion of the groups [first, last).
  void (*residual)(const ResidualInput& input, std::int64_t first_group, std::int64_t last_group);
  /// Lists the partners of the beads of groups [first, last). @return the largest count met; where that is over the
  /// capacity the list is not complete and must be built again with more.
  std::uint32_t (*list)(const ListInput& input, const CellGrid& grid, std::int64_t first_group,
                        std::int64_t last_group);
};

/// The widest code that this machine can run. Throws std::runtime_error where it has no fused multiply-add (x86-64-v3).
const StepCode& BestStepCode();
/// All codes that this machine can run, for tests: they give the same bits.
struct StepCodes {
  const StepCode* codes[2];
  int count;
};
StepCodes RunnableStepCodes();

namespace v3 {
extern const StepCode kStepCode;
}
namespace v4 {
extern const StepCode kStepCode;
}

}  // namespace gyrebox::kernels
